// Wheel, pointer, fingers, keys.

const timeAt = (event) => {
  const left = plot.getBoundingClientRect().left;
  const share = (event.clientX - left - geometry.left) / (geometry.right - geometry.left);
  return view.from + Math.min(Math.max(share, 0), 1) * (view.to - view.from);
};

plot.addEventListener('wheel', (event) => {
  // The page scrolls on until the plot is clicked: nobody is caught in it in passing.
  if (document.activeElement !== plot && !event.ctrlKey) return;
  event.preventDefault();
  if (Math.abs(event.deltaX) > Math.abs(event.deltaY)) pan(event.deltaX / 1000);
  else zoom(1.0015 ** event.deltaY, timeAt(event));
}, { passive: false });

const fingers = new Map();
plot.addEventListener('pointerdown', (event) => {
  plot.focus({ preventScroll: true });
  plot.setPointerCapture(event.pointerId);
  fingers.set(event.pointerId, event);
});
plot.addEventListener('pointermove', (event) => {
  const last = fingers.get(event.pointerId);
  if (!last) {
    if (event.pointerType === 'mouse') {
      view.cursor = timeAt(event);
      redraw();
    }
    return;
  }
  const perPixel = (view.to - view.from) / (geometry.right - geometry.left);
  if (fingers.size === 1) {
    const step = (last.clientX - event.clientX) * perPixel;
    show(view.from + step, view.to + step);
  } else {
    const [a, b] = [...fingers.values()];
    const before = Math.abs(a.clientX - b.clientX);
    fingers.set(event.pointerId, event);
    const [c, d] = [...fingers.values()];
    const after = Math.abs(c.clientX - d.clientX);
    if (before > 10 && after > 10) zoom(before / after, (timeAt(c) + timeAt(d)) / 2);
  }
  fingers.set(event.pointerId, event);
});
const lift = (event) => {
  const last = fingers.get(event.pointerId);
  fingers.delete(event.pointerId);
  if (last) {
    view.cursor = timeAt(event);
    redraw();
  }
};
plot.addEventListener('pointerup', lift);
plot.addEventListener('pointercancel', lift);

// The next or last stop or moment of a finding.
function step(direction) {
  const times = record.runs.map(([start, length]) => start + length);
  for (const finding of record.findings) times.push(...finding.seen.map(([from]) => from));
  times.sort((a, b) => a - b);
  const beyond = times.filter((time) => (time - view.cursor) * direction > 1);
  const next = direction > 0 ? beyond[0] : beyond.at(-1);
  if (next === undefined) return;
  const half = (view.to - view.from) / 2;
  view.cursor = next;
  show(next - half, next + half);
}

function move(pixels) {
  const length = (view.to - view.from) / (geometry.right - geometry.left);
  view.cursor = Math.min(Math.max(view.cursor + pixels * length, 0), record.length);
  if (view.cursor < view.from) pan(-0.5);
  else if (view.cursor > view.to) pan(0.5);
  redraw();
}

const KEYS = {
  ArrowLeft: (event) => (event.shiftKey ? pan(-0.25) : move(-4)),
  ArrowRight: (event) => (event.shiftKey ? pan(0.25) : move(4)),
  PageUp: () => pan(-1),
  PageDown: () => pan(1),
  Home: () => show(0, view.to - view.from),
  End: () => show(record.length - (view.to - view.from), record.length),
  '+': () => zoom(0.5, view.cursor),
  '=': () => zoom(0.5, view.cursor),
  '-': () => zoom(2, view.cursor),
  0: () => show(0, record.length),
  n: () => step(1),
  p: () => step(-1),
};
plot.addEventListener('keydown', (event) => {
  const act = KEYS[event.key];
  if (!act || event.ctrlKey || event.metaKey || event.altKey) return;
  event.preventDefault();
  act(event);
});

new ResizeObserver(redraw).observe(plot);
// For tests: what is in view, in ms from the start of the record.
viewer.state = () => ({ ...view, length: record.length });
