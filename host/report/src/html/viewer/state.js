// What is in view.

const SHORTEST = 40; // ms in view at the closest
const view = { from: 0, to: record.length, cursor: record.length / 2, shown: false };

function show(from, to) {
  const length = Math.min(Math.max(to - from, SHORTEST), record.length);
  const middle = (from + to) / 2;
  view.from = Math.min(Math.max(middle - length / 2, 0), record.length - length);
  view.to = view.from + length;
  view.cursor = Math.min(Math.max(view.cursor, view.from), view.to);
  redraw();
}

function zoom(factor, about) {
  show(about - (about - view.from) * factor, about + (view.to - about) * factor);
}

function pan(share) {
  const step = (view.to - view.from) * share;
  show(view.from + step, view.to + step);
}
