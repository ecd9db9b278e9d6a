// Words and signs that stand out from what lies under them.

function halo(pen, text, x, y) {
  pen.textAlign = 'left';
  pen.strokeStyle = '#fff';
  pen.lineWidth = 3;
  pen.lineJoin = 'round';
  pen.strokeText(text, x, y);
  pen.fillStyle = INK;
  pen.fillText(text, x, y);
  pen.lineWidth = 1;
}

function sign(pen, [letter, , shape], x, y) {
  const dark = shape === 'square' || shape === 'diamond';
  pen.fillStyle = dark ? INK : '#fff';
  pen.strokeStyle = INK;
  pen.beginPath();
  if (shape === 'square') pen.rect(x - 6.5, y - 6.5, 13, 13);
  else if (shape === 'diamond') {
    pen.moveTo(x, y - 8.5);
    pen.lineTo(x + 8.5, y);
    pen.lineTo(x, y + 8.5);
    pen.lineTo(x - 8.5, y);
    pen.closePath();
  } else pen.arc(x, y, 6.5, 0, 2 * Math.PI);
  pen.fill();
  if (shape === 'dashed') pen.setLineDash([2, 1.6]);
  pen.stroke();
  pen.setLineDash([]);
  pen.fillStyle = dark ? '#fff' : INK;
  pen.textAlign = 'center';
  pen.fillText(letter, x, y + 4);
}
