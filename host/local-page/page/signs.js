// Signs of state: shapes that differ without colour, always with a word beside them.

const SVG = 'http://www.w3.org/2000/svg';

/** Shapes in a square of 20 units. */
const SHAPES = {
  good: [['path', { d: 'M3 11l5 5 9-12', fill: 'none', 'stroke-width': 3.4 }]],
  bad: [
    ['path', { d: 'M10 1.5L19 18H1z', fill: 'currentColor', 'stroke-width': 1 }],
    ['path', { d: 'M10 7v5.5M10 14.4v2', fill: 'none', stroke: '#fff', 'stroke-width': 2 }],
  ],
  waiting: [['circle', { cx: 10, cy: 10, r: 7, fill: 'none', 'stroke-width': 2, 'stroke-dasharray': '4 3.3' }]],
  there: [['circle', { cx: 10, cy: 10, r: 8, fill: 'currentColor', 'stroke-width': 1 }]],
  none: [['circle', { cx: 10, cy: 10, r: 7, fill: 'none', 'stroke-width': 2 }]],
  lost: [
    ['circle', { cx: 10, cy: 10, r: 7, fill: 'none', 'stroke-width': 2 }],
    ['path', { d: 'M3 17L17 3', fill: 'none', 'stroke-width': 3 }],
  ],
  lit: [
    ['circle', { cx: 10, cy: 10, r: 4.5, fill: 'currentColor', 'stroke-width': 1 }],
    ['path', { d: 'M10 0v3M10 17v3M0 10h3M17 10h3M3 3l2 2M15 15l2 2M3 17l2-2M15 5l2-2', fill: 'none', 'stroke-width': 1.6 }],
  ],
  flashing: [
    ['path', { d: 'M10 3a7 7 0 0 1 0 14z', fill: 'currentColor', 'stroke-width': 1 }],
    ['circle', { cx: 10, cy: 10, r: 7, fill: 'none', 'stroke-width': 1.6 }],
  ],
  dark: [['circle', { cx: 10, cy: 10, r: 5, fill: 'none', 'stroke-width': 1.6 }]],
};
SHAPES.connecting = SHAPES.waiting;

function draw(svg, kind) {
  if (svg.kind === kind) return;
  svg.kind = kind;
  svg.replaceChildren(...SHAPES[kind].map(([tag, attributes]) => {
    const part = document.createElementNS(SVG, tag);
    for (const [name, value] of Object.entries(attributes)) part.setAttribute(name, value);
    return part;
  }));
}

/** A sign; `sign.set(kind)` changes it. Hidden from those who listen: the word beside it tells. */
export function sign(kind) {
  const svg = document.createElementNS(SVG, 'svg');
  const fixed = { viewBox: '0 0 20 20', width: 20, height: 20, class: 'sign', stroke: 'currentColor', 'aria-hidden': 'true', focusable: 'false' };
  for (const [name, value] of Object.entries(fixed)) svg.setAttribute(name, value);
  svg.set = (next) => draw(svg, next);
  svg.set(kind);
  return svg;
}
