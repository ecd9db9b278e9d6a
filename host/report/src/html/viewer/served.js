// Where the program itself serves the page, the page holds coarse steps only, and finer ones, rows and
// captures of what is in view are asked for at the address that the record names. What came is kept
// with the pieces that the page brought, and drawn as they are.

const ROWS_SHOWN = 60000; // rows in view at most; beyond, they are summed up
const ROWS_BELOW = 4 * HOUR; // shorter views show rows, however fine the steps are
const CAPTURES_WITHIN = 10 * MINUTE; // captures come with stretches no longer than this
const PIECES_KEPT = 240;
const PAUSE = 5 * SECOND; // after a request that failed
const asking = { stretches: [], underway: false, notBefore: 0 };
const steps = [];

// The shortest steps that cover all of a stretch.
function stepsOver({ from, to }) {
  const over = steps.filter((piece) => piece.from <= from && piece.to >= to);
  return over.sort((a, b) => a.to - a.from - (b.to - b.from))[0];
}

// Asks for what the view lacks, one stretch at a time, with as much again on either side.
function askForRows(span) {
  if (!record.served || asking.underway || Date.now() < asking.notBefore) return;
  const coarse = record.levels.some((level) => (span / record.length) * level.count >= 700);
  if (coarse && span >= ROWS_BELOW) return;
  const near = span < 30 * SECOND;
  const had = asking.stretches.some(
    (stretch) =>
      stretch.from <= view.from &&
      stretch.to >= view.to &&
      (stretch.rows || stretch.to - stretch.from <= 4 * span) &&
      (!near || stretch.captures),
  );
  if (had) return;
  const around = near ? MINUTE : span;
  const from = Math.max(Math.floor(view.from - around), 0);
  const to = Math.min(Math.ceil(view.to + around), record.length);
  asking.underway = true;
  fetch(`${record.served}?from_ms=${record.from + from}&to_ms=${record.from + to}`)
    .then((answer) => (answer.ok ? answer.json() : Promise.reject(answer.status)))
    .then((came) => take(came, from, to))
    .then(() => trouble.remove())
    .catch(() => {
      asking.notBefore = Date.now() + PAUSE;
      setTimeout(redraw, PAUSE);
      if (!trouble.isConnected) plot.after(trouble);
    })
    .finally(() => {
      asking.underway = false;
      redraw();
    });
}

const trouble = make('p', { class: 'aside', role: 'status' }, words.unreachable);

function take({ tiles, captures, steps: summed }, from, to) {
  const rows = !summed;
  asking.stretches.push({ from, to, rows, captures: rows && to - from <= CAPTURES_WITHIN });
  const add = (kept, came) => {
    const known = new Set(kept.map((piece) => piece.from));
    kept.push(...came.filter((piece) => !known.has(piece.from)));
  };
  add(record.tiles, tiles);
  add(record.captures, captures);
  if (summed) steps.push(summed);
  if (record.tiles.length > PIECES_KEPT || steps.length > PIECES_KEPT) {
    // Begin anew with what was asked for last: the rest can be asked for again.
    asking.stretches = asking.stretches.slice(-1);
    record.tiles = tiles;
    record.captures = captures;
    steps.splice(0, steps.length, ...(summed ? [summed] : []));
  }
  record.tiles.sort((a, b) => a.from - b.from);
  record.captures.sort((a, b) => a.from - b.from);
}
