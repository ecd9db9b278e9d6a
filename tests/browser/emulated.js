// The page at the panel with the shipping image behind it:
// `node emulated.js PROGRAM PORT SITE.toml FOLDER ASKS HEARS`, called by tests/emulator/visit.py.
//
// PORT is the emulated board's serial port. Orders to the board (a sensor fitted wrongly or put right,
// time to pass) are written as lines to descriptor ASKS; what happens on the board, the pump's starts and
// stops among it, comes as JSON lines on descriptor HEARS. Waits for states, never for a time to have
// passed. Prints each check and "N passed, N failed".
import fs from 'node:fs';
import path from 'node:path';
import { createInterface } from 'node:readline';
import { WRONG, check, finish, headingSays, judged, launch, press as pressed, serving, stateOf } from './harness.js';

const [program, port, siteFile, folder, asks, hears] = process.argv.slice(2);
const PATIENCE_MS = 1_200_000;
/** As tests/emulator/visit.json has them. */
const SUPPLY_V = 230;
const RUNNING_A = 5;

const ask = (line) => fs.writeSync(Number(asks), `${line}\n`);
const board = { pumps: false, reached: new Set() };
createInterface({ input: fs.createReadStream(null, { fd: Number(hears) }) }).on('line', (line) => {
  const event = JSON.parse(line);
  if (event.event === 'pump') board.pumps = event.runs;
  if (event.event === 'reached') board.reached.add(event.second);
});

const { child, address } = await serving(path.resolve(program), ['--port', port], folder);
const { browser, away } = await launch();
const page = await browser.newPage();
await page.setViewport({ width: 1280, height: 900 });
const complaints = [];
page.on('console', (message) => complaints.push(message.text()));
page.on('pageerror', (error) => complaints.push(String(error)));

/** What the technician hears is said, as it changes. */
async function hear() {
  const said = (await stateOf(page)).stated.running;
  if (said === board.pumps) return;
  await page.$$eval('input[name=running]', (all, n) => all[n]?.click(), board.pumps ? 1 : 2);
}

/** Waits until `holds`, evaluated in the page, is true, and meanwhile says what is heard. */
async function until(name, holds, ...with_) {
  const end = Date.now() + PATIENCE_MS;
  while (Date.now() < end) {
    if (await page.evaluate(holds, ...with_)) {
      check(name, true);
      return;
    }
    await hear();
    await new Promise((done) => { setTimeout(done, 300); });
  }
  check(name, false, await page.$eval('main', (main) => main.innerText).catch(String));
  throw new Error(`the visit ended at: ${name}`);
}
const press = (said) => pressed(page, said, PATIENCE_MS);
const heading = (said) => until(`the page says "${said}"`, headingSays, said);
const stands = (key, how) => until(`check ${key} turns ${how}`, (name, wanted) =>
  document.querySelector(`[data-check="${name}"]`)?.dataset.state === wanted, key, how);
const live = async () => (await stateOf(page)).live;

async function meet() {
  await page.goto(address, { waitUntil: 'load' });
  await until('the port named is offered', (name) => document.querySelector('main .cards')?.textContent.includes(name), port);
  await press('Use this logger');
  await heading('is there');
  await press('Go on');
  await press('The site file as text');
  await page.$eval('textarea.code', (area, text) => { area.value = text; }, fs.readFileSync(siteFile, 'utf8'));
  await press('Use this site file');
  await until('the site is taken', () => document.querySelector('[aria-label="The site in use"]')?.getClientRects().length);
  await press('Go on: fit the sensors');
  await heading('Fit the sensors');
}

async function fit() {
  for (const fault of Object.keys(WRONG)) ask(`fit ${fault} wrong`);
  await until('readings come', () => /\d/.test(document.querySelector('.tile .number')?.textContent));
  await stands('voltage', 'good');
  await stands('frequency', 'good');
  for (const [fault, key] of Object.entries(WRONG)) {
    await stands(key, 'bad');
    check(`${key} says what to do`, (await page.$eval(`[data-check="${key}"] .remedy`, (one) => one.innerText)).length > 20);
    ask(`fit ${fault} right`);
    await stands(key, 'good');
  }
  await stands('lamp-1', 'good');
  await stands('pressure-moves', 'good');
  await stands('logger-supply', 'good');
  await until('the pump is seen to run', () => /runs/.test(document.querySelector('.live .pump')?.textContent ?? ''));
  let reading = await live();
  // The start's current is five times that of the run.
  while (!(reading?.current_a > 0.5 && reading.current_a < 2 * RUNNING_A)) reading = await live();
  check('the voltage is the board\'s', Math.abs(reading.voltage_v / SUPPLY_V - 1) < 0.01, reading.voltage_v);
  check('the current is the board\'s', Math.abs(reading.current_a / RUNNING_A - 1) < 0.02, reading.current_a);
  for (const width of [375, 1280]) {
    await page.setViewport({ width, height: 900 });
    const found = await judged(page);
    check(`${width} px: does not scroll sideways`, found.width <= width, found.width);
    check(`${width} px: words stand out 7 : 1`, found.faint.length === 0, found.faint);
  }
}

async function record() {
  await press('Go on: leave the logger');
  await press('Arm');
  await heading('The logger records');
  // From here two more runs, whatever the emulator's pace.
  let starts = 0;
  for (let before = board.pumps; starts < 2; before = board.pumps) {
    await new Promise((done) => { setTimeout(done, 50); });
    if (board.pumps && !before) starts += 1;
  }
  await press('Fetch the record');
  await until('it is ready', () => /Ready/.test(document.querySelector('main h2')?.textContent));
  await press('Fetch the record');
  await heading('Fetched and verified');
  await press('See the findings');
  await until('the record is shown', () => document.querySelector('iframe')?.clientHeight > 300);
  const records = await page.evaluate(() => fetch('api/records').then((answer) => answer.json()));
  check('the record is kept', records.records.length === 1, records);
}

let ended = null;
try {
  await meet();
  await fit();
  await record();
} catch (error) {
  ended = error;
}
check('the visit goes to its end', !ended, String(ended?.stack ?? ''));
check('no word in the console', complaints.length === 0, complaints);
child.removeAllListeners('exit');
child.kill('SIGINT');
await away();
finish();
