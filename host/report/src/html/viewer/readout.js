// The values at the cursor, as a table.

function tell(found) {
  const step = (view.to - view.from) / 1000;
  const text = `${moment(view.from, step)} – ${moment(view.to, step)} (${lasting(view.to - view.from)})`;
  if (range.textContent !== text) range.textContent = text;
  const rows = [];
  for (let place = found.length - 1; place >= 0 && !rows.length; place--) {
    const { values, rows: single, capture } = found[place];
    const at = within(values.start, view.cursor);
    if (at < 0 || values.end[at] <= view.cursor) continue;
    const [from, length] = [values.start[at], values.end[at] - values.start[at]];
    const held = record.served || record.tiles.some((tile) => tile.from <= view.cursor && tile.to > view.cursor);
    const summed = held ? words.summed : words.apart;
    const kind = capture ? `${words.cycle}. ${capture.why}` : single ? words.row : summed;
    rows.push([words.at, `${moment(from, Math.min(length, SECOND - 1))}`, `${kind}, ${lasting(length)}`, '']);
    record.channels.forEach((channel, n) => {
      const { mean, min, max } = values.channels[n];
      const told = (value) => `${number(value, channel.decimals)} ${channel.unit}`;
      if (Number.isNaN(mean[at])) return;
      const same = min === mean;
      rows.push([channel.title, told(mean[at]), same ? '' : told(min[at]), same ? '' : told(max[at])]);
    });
  }
  if (!rows.length) rows.push([words.at, moment(view.cursor, 1), words.nothing, '']);
  const run = record.runs.find(([start, length]) => start <= view.cursor && start + length > view.cursor);
  if (run) {
    const reason = record.reasons[run[2]];
    rows.push([words.running, lasting(run[1]), reason ? `${words.stopped} ${reason[1]}` : '', '']);
  }
  const signature = JSON.stringify(rows);
  if (readout.dataset.shown === signature) return;
  readout.dataset.shown = signature;
  const head = make('tr');
  for (const title of ['', words.mean, words.least, words.most]) head.append(make('th', { scope: 'col' }, title));
  readout.replaceChildren(make('caption', {}, words.readout), head);
  for (const [name, ...cells] of rows) {
    const line = make('tr');
    line.append(make('th', { scope: 'row' }, name));
    if (name === words.at || name === words.running) {
      line.append(make('td', {}, cells[0]), make('td', { colspan: 2 }, cells[1]));
    } else cells.forEach((cell) => line.append(make('td', { class: 'number' }, cell)));
    readout.append(line);
  }
}
