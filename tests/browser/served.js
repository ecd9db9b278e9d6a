// Drives the report's page as a program serves it: `node served.js SERVER ARCHIVE`, where SERVER is the
// example `served` of host/report. Prints each check and "N passed, N failed".
import { spawn } from 'node:child_process';
import path from 'node:path';
import readline from 'node:readline';
import { check, finish, launch } from './harness.js';

const [server, archive] = process.argv.slice(2);
const shots = process.env.BROWSER_SHOTS;

const program = spawn(server, [archive], { stdio: ['ignore', 'pipe', 'inherit'] });
const address = await new Promise((found) => {
  readline.createInterface({ input: program.stdout }).on('line', (line) => {
    console.log(`    ${line}`);
    if (line.startsWith('http://')) found(line);
  });
});
const { browser, away } = await launch();

try {
  const page = await browser.newPage();
  const complaints = [];
  page.on('console', (message) => complaints.push(message.text()));
  page.on('pageerror', (error) => complaints.push(String(error)));
  await page.setViewport({ width: 1280, height: 900 });
  // Time of the page's own thread on a core: other work on the machine does not count.
  const gauge = await page.createCDPSession();
  await gauge.send('Performance.enable', { timeDomain: 'threadTicks' });
  await page.goto(address, { waitUntil: 'load' });
  await page.waitForFunction(() => document.querySelector('.viewer-readout').rows.length > 2);
  const { metrics } = await gauge.send('Performance.getMetrics');
  const busy = metrics.find(({ name }) => name === 'TaskDuration').value;
  console.log(`    open and drawn after ${busy.toFixed(2)} s of work`);
  check('opens within a second', busy < 1, busy);
  const state = () => page.evaluate(() => document.getElementById('viewer').state());
  const readout = () => page.$eval('.viewer-readout', (table) => table.innerText);
  const settled = (what) =>
    page.waitForFunction(
      (text) => document.querySelector('.viewer-readout').innerText.includes(text),
      { timeout: 10_000 },
      what,
    ).then(() => true, () => false);
  const shoot = async (name) => {
    if (!shots) return;
    const plot = await page.$('.viewer-plot');
    await plot.screenshot({ path: path.join(shots, `served-${name}.png`), captureBeyondViewport: false });
  };
  await settled('rows summed up');
  await shoot('whole');
  const { length } = await state();
  await page.focus('.viewer-plot');

  // At any place of the record: steps, then single rows, then the cycles of a capture.
  for (const share of [0.1, 0.5, 0.9]) {
    await page.keyboard.press('0');
    await page.keyboard.press('Home');
    const box = await page.$eval('.viewer-plot', (plot) => plot.getBoundingClientRect().toJSON());
    await page.mouse.move(box.x + 46 + (box.width - 50) * share, box.y + 100);
    // To the next start of the pump from there.
    await page.keyboard.press('n');
    for (let n = 0; n < 40 && (await state()).to - (await state()).from > 120_000; n += 1) {
      await page.keyboard.press('+');
    }
    check(`single rows at ${share * 100} % of the record`, await settled('one row of the record'), await readout());
    const { cursor } = await state();
    check('not somewhere else', Math.abs(cursor / length - share) < 0.05, [cursor / length, share]);
    await shoot(`rows-${share * 100}`);
  }
  // Back through the run to its start, of which there is a capture.
  const walk = async (key, most, until) => {
    for (let n = 0; n < most && !until(await readout()); n += 1) {
      await page.keyboard.press(key);
      await page.evaluate(() => new Promise((done) => { requestAnimationFrame(() => requestAnimationFrame(done)); }));
    }
  };
  await walk('ArrowLeft', 20, (text) => text.includes('Pump running'));
  check('the run before the stop is there', (await readout()).includes('Pump running'), await readout());
  await walk('ArrowLeft', 1500, (text) => !text.includes('Pump running'));
  for (let n = 0; n < 40 && (await state()).to - (await state()).from > 4000; n += 1) {
    await page.keyboard.press('+');
  }
  await settled('one cycle');
  await walk('ArrowRight', 200, (text) => text.includes('one cycle'));
  check('single cycles of the start can be read', (await readout()).includes('one cycle'), await readout());
  await shoot('cycles');

  // The program goes away: what is there stays, and it is said why there is no more.
  program.kill();
  await new Promise((gone) => { program.once('exit', gone); });
  complaints.length = 0;
  await page.keyboard.press('0');
  await page.keyboard.press('p');
  for (let n = 0; n < 15; n += 1) await page.keyboard.press('+');
  const said = await page
    .waitForFunction(() => document.querySelector('#viewer').innerText.includes('does not answer'), { timeout: 5000 })
    .then(() => true, () => false);
  check('a program that is gone is said to be', said);
  check('nothing broke', complaints.every((text) => text.includes('ERR_CONNECTION')), complaints);
} finally {
  program.kill();
  await away();
}
finish();
