// The whole visit at the panel: `node visit.js PROGRAM [--shots FOLDER]`. Starts
// `PROGRAM open --practice` in a folder of its own and does what a technician does: gives the site,
// puts wrong fits right, arms, comes back, fetches with the cable pulled, reads the findings, takes
// report and bundle. Waits for states, never for a time to have passed. Prints each check and
// "N passed, N failed".
import { execFileSync, spawnSync } from 'node:child_process';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import { WRONG, check, finish, headingSays, judged, launch, press as pressed, serving, stateOf, tabTo } from './harness.js';

const program = path.resolve(process.argv[2]);
const shots = process.argv[3] === '--shots' ? process.argv[4] : undefined;
/** Longest wait for anything, s: far beyond what it takes on a busy machine. */
const PATIENCE_S = 900;

const folder = fs.mkdtempSync(path.join(os.tmpdir(), 'pumpwitness-visit-'));
const downloads = path.join(folder, 'downloads');
fs.mkdirSync(downloads);

// A name and a label that would do harm if they were taken for markup.
const NAME = 'Dell <b id="owned">farm</b> & Söhne';
const LABEL = '<b id="owned">on</b> &';

const { child, address } = await serving(program, ['--practice'], folder);
const { browser, away } = await launch();
const page = await browser.newPage();
const heard = { complaints: [], strangers: [], dialogs: 0 };
page.on('console', (message) => heard.complaints.push(message.text()));
page.on('pageerror', (error) => heard.complaints.push(String(error)));
page.on('request', (request) => {
  const url = request.url();
  if (!url.startsWith(address) && !url.startsWith('data:')) heard.strangers.push(url);
});
page.on('dialog', (dialog) => { heard.dialogs += 1; dialog.dismiss(); });
const control = await browser.target().createCDPSession();
await control.send('Browser.setDownloadBehavior', { behavior: 'allow', downloadPath: downloads });

/** Waits until `holds`, evaluated in the page, is true; the visit cannot go on without it. */
async function until(name, holds, ...with_) {
  const limit = PATIENCE_S * 1000;
  try {
    await page.waitForFunction(holds, { polling: 200, timeout: limit }, ...with_);
    check(name, true);
  } catch {
    const words = await page.$eval('main', (main) => main.innerText).catch(String);
    check(name, false, words);
    throw new Error(`the visit ended at: ${name}`);
  }
}
const state = () => stateOf(page);
const order = (what, body) => page.evaluate((to, given) => fetch(`api/${to}`, {
  method: 'POST', headers: { 'content-type': 'application/json' }, body: JSON.stringify(given),
}).then((answer) => answer.json()), what, body);
const words = (selector) => page.$eval(selector, (element) => element.innerText);
const press = (said) => pressed(page, said, PATIENCE_S * 1000);
const go = (part) => page.evaluate((to) => { location.hash = to; }, part);
const heading = (said) => until(`the page says "${said}"`, headingSays, said);

/** Judges the page as it stands, at both widths, and keeps pictures of it. */
async function look(name) {
  for (const width of [375, 1280]) {
    await page.setViewport({ width, height: width < 500 ? 800 : 900 });
    await page.evaluate(() => new Promise((done) => { requestAnimationFrame(() => requestAnimationFrame(done)); }));
    const found = await judged(page);
    const at = `${name}, ${width} px`;
    check(`${at}: does not scroll sideways`, found.width <= width, found.width);
    check(`${at}: words stand out 7 : 1`, found.faint.length === 0, found.faint);
    check(`${at}: targets take a gloved finger`, found.small.length === 0, found.small);
    check(`${at}: everything has a name`, found.nameless.length === 0, found.nameless);
    check(`${at}: one title, no heading left out`, found.headings === 1 && found.jumps.length === 0, found);
    check(`${at}: at most one next step stands out`, found.primary.length <= 1, found.primary);
    check(`${at}: landmarks`, found.landmarks.length === 0, found.landmarks);
    if (!shots) continue;
    const file = path.join(shots, `${name}-${width}.png`);
    const height = await page.evaluate(() => document.documentElement.scrollHeight);
    await page.setViewport({ width, height });
    await page.screenshot({ path: file });
  }
  await page.setViewport({ width: 1280, height: 900 });
}
/** What the technician hears is said, as it changes: the pump of the practised site cycles. */
async function hear() {
  const { practice, stated } = await state();
  if (practice.pump_runs && stated.running !== true) await page.$$eval('input[name=running]', (all) => all[1].click());
  if (!practice.pump_runs && stated.running === true) await page.$$eval('input[name=running]', (all) => all[0].click());
}
/** Waits until `holds` is true in the page, and meanwhile says what is heard; the time to the pump's
 * next start or stop is skipped. */
async function hearingUntil(name, holds, ...with_) {
  const end = Date.now() + PATIENCE_S * 1000;
  while (Date.now() < end) {
    if (await page.evaluate(holds, ...with_)) {
      check(name, true);
      return;
    }
    await hear();
    await page.$eval('#practice-skip', (skip) => skip.click());
    await new Promise((done) => { setTimeout(done, 400); });
  }
  check(name, false, await words('main'));
  throw new Error(`the visit ended at: ${name}`);
}
/** The check of this name stands so, and says so in words. */
const stands = (key, how) => hearingUntil(`check ${key} turns ${how}`, (name, wanted) => {
  const item = document.querySelector(`[data-check="${name}"]`);
  return item?.dataset.state === wanted && item.querySelector('.says').textContent.length > 10;
}, key, how);
const putRight = async (fault) =>
  press(`Put right: ${await page.$eval(`[data-fault="${fault}"] span`, (span) => span.textContent)}`);

async function start() {
  if (shots) fs.mkdirSync(shots, { recursive: true });
  await page.setViewport({ width: 1280, height: 900 });
  await page.emulateMediaFeatures([{ name: 'prefers-reduced-motion', value: 'reduce' }]);
  await page.goto(address, { waitUntil: 'load' });
  await heading('Loggers found on USB');
  await until('the practice logger is offered', () => /practice/i.test(document.querySelector('main .cards')?.textContent ?? ''));
  check('practice is marked', /practice/i.test(await words('.practice-mark')));
  check('the link is told in words', /No logger/.test(await words('#link')));
  await look('loggers');
}

/** From here to the fit by keys alone. */
async function siteByKeys() {
  const unshown = [];
  await page.evaluate(() => document.activeElement.blur());
  check('keys reach the logger', await tabTo(page, 'main .cards button', unshown));
  await page.keyboard.press('Enter');
  await until('the link stands', () => /Logger there/.test(document.getElementById('link').textContent));
  await heading('is there');
  await look('logger');
  check('keys reach the next step', await tabTo(page, 'main a.primary', unshown));
  await page.keyboard.press('Enter');
  await heading('The site');
  await until('questions or sites are offered', () => document.querySelector('main .ways input:checked'));
  await until('the questions are there', () => document.querySelectorAll('.questions input').length > 10);
  check('keys reach the ways to a site', await tabTo(page, '.ways input', unshown));
  for (let n = 0; n < 3 && !(await page.$('.ways input[value=ask]:checked')); n += 1) await page.keyboard.press('ArrowDown');
  check('keys choose the questions', Boolean(await page.$('.ways input[value=ask]:checked')));
  await look('questions');
  // Without the nameplate's current nothing can be judged: the page must say so at the field.
  check('keys reach the end of the questions', await tabTo(page, '.questions .primary', unshown));
  await page.keyboard.press('Enter');
  await until('what is missing is told', () => {
    const told = document.querySelector('.questions .complaint');
    return !told.hidden && told.textContent.length > 10;
  });
  // What the practised site's nameplates say; with a comma, as many type it.
  const { toml } = await page.evaluate(() => fetch('api/practice/site').then((answer) => answer.json()));
  const plate = (key) => toml.match(new RegExp(`^${key} = ([\\d.]+)`, 'm'))?.[1].replace('.', ',') ?? '';
  const answers = {
    'Name of the site': NAME,
    'Rated current': plate('rated_current_a'),
    'Cut-in': plate('cut_in_bar'),
    'Cut-out': plate('cut_out_bar'),
    'Whole volume': plate('volume_l'),
    'Air pressure': plate('precharge_bar'),
    'lamp 1': LABEL,
    'lamp 2': 'dry running',
    'Who fits': 'The fitter',
    'complained of': 'starts too often',
  };
  await page.focus('main h1');
  const ids = await page.$$eval('.questions .field', (all) => all.map((one) => [one.querySelector('label').textContent, one.querySelector('input, select').id]));
  for (const [asks, answer] of Object.entries(answers)) {
    const id = ids.find(([label]) => label.includes(asks))?.[1];
    check(`it asks for: ${asks}`, Boolean(id), ids);
    check(`keys reach: ${asks}`, await tabTo(page, `#${id}`, unshown));
    await page.keyboard.type(answer);
  }
  await tabTo(page, '.questions .primary', unshown);
  await page.keyboard.press('Enter');
  await until('the site is taken', () => document.querySelector('[aria-label="The site in use"]').getClientRects().length);
  check('a hostile name is text', (await words('[aria-label="The site in use"] h2')).includes(NAME));
  await look('site');
  const sheet = await page.evaluate(() => fetch('api/site/sheet.pdf').then((answer) => answer.text()));
  check('the fitting sheet is a PDF', sheet.startsWith('%PDF-'), sheet.slice(0, 40));
  check('keys reach the fitting', await tabTo(page, 'main a.primary', unshown));
  await page.keyboard.press('Enter');
  await heading('Fit the sensors');
  check('the focus shows wherever it goes', unshown.length === 0, unshown);
  const round = await tabTo(page, 'body');
  check('keys leave the page at its end', round);
}

async function fit() {
  await until('readings come', () => /\d/.test(document.querySelector('.tile .number').textContent));
  const planted = (await state()).practice.faults.filter((fault) => fault.planted).map((fault) => fault.key);
  check('wrong fits are planted', Object.keys(WRONG).every((key) => planted.includes(key)), planted);
  const lamp = await words('.lamps .lamp-label');
  check('a hostile label is text', lamp.includes(LABEL), lamp);
  let seen = false;
  for (const [fault, key] of Object.entries(WRONG)) {
    await stands(key, 'bad');
    check(`${key} says what to do`, (await words(`[data-check="${key}"] .remedy`)).length > 20);
    check(`${key} is told as wrong in words`, (await words(`[data-check="${key}"] .state`)) === 'Wrong');
    if (!seen) await look('fit-wrong');
    seen = true;
    await putRight(fault);
    await stands(key, 'good');
  }
  await putRight('lamp-unseen');
  await stands('lamp-2', 'good');
  const gauge = (await state()).practice.gauge_bar;
  await page.type('.gauge input', String(gauge).replace('.', ','));
  await press('Compare');
  await stands('pressure', 'good');
  await hearingUntil('all checks are good', () => /All fit checks are good/.test(document.querySelector('.todo').textContent));
  await fresh();
  await look('fit');
  if (shots) {
    await page.emulateVisionDeficiency('achromatopsia');
    await page.screenshot({ path: path.join(shots, 'fit-grey.png') });
    await page.emulateVisionDeficiency('none');
  }
  await lost();
}

/** Readings at most half a second old, or shown as old. */
async function fresh() {
  const samples = await page.evaluate(async () => {
    const live = document.querySelector('.live');
    const taken = { fresh: 0, old: 0, unmarked: 0 };
    for (let n = 0; n < 3000 && taken.fresh < 50; n += 1) {
      await new Promise((done) => { setTimeout(done, 100); });
      const age = Number(live.dataset.ageMs);
      if (live.dataset.ageMs !== '' && age <= 500) taken.fresh += 1;
      else {
        taken.old += 1;
        if (!live.classList.contains('stale')) taken.unmarked += 1;
      }
    }
    return taken;
  });
  console.log(`    readings at most 0.5 s old: ${samples.fresh} of ${samples.fresh + samples.old} looks`);
  check('readings are at most half a second old', samples.fresh >= 50, samples);
  check('older ones are shown as old', samples.unmarked === 0, samples);
}

/** The cable out and in again while readings are watched. */
async function lost() {
  await order('practice/unplug', { after_bytes: 0 });
  await until('a pulled cable is told', () => /lost/.test(document.getElementById('link').textContent));
  await until('and the readings are marked', () => document.querySelector('.live').classList.contains('stale'));
  await look('fit-unplugged');
  await order('practice/plug', {});
  await until('the logger is back by itself', () => /there/.test(document.getElementById('link').textContent));
  await until('and its readings', () => !document.querySelector('.live').classList.contains('stale'));
}

async function leave() {
  await press('Go on: leave the logger');
  await heading('Leave the logger');
  await look('leave');
  await press('Arm');
  await heading('The logger records');
  await until('days can pass', () => document.getElementById('pass-days')?.getClientRects().length);
  await look('armed');
  await page.click('#pass-days');
  await until('seven days have passed', () => /\b7 days have passed/.test(document.querySelector('main').textContent)
    && document.getElementById('pass-days').getClientRects().length);
  const steps = await page.evaluate(() => [...document.querySelectorAll('#steps .done .step-name')].map((name) => name.textContent));
  check('the checks that the logger was armed with still count', steps.length >= 4, steps);
}

async function fetchRecord() {
  await press('Fetch the record');
  await heading('Fetch the record');
  await until('it is ready', () => /Ready/.test(document.querySelector('main h2').textContent));
  await look('fetch');
  await order('practice/unplug', { after_bytes: 200_000 });
  await press('Fetch the record');
  await heading('The cable is out');
  const before = await state();
  check('what was fetched is kept', before.job.state === 'going' && before.job.done > 0 && before.job.done < before.job.total, before.job);
  await look('cable-out');
  await press('Plug the cable in');
  await heading('Fetched and verified');
  await look('fetched');
}

async function findings() {
  await press('See the findings');
  await until('findings are listed', () => document.querySelectorAll('.finding').length > 0);
  await until('the record is shown beside them', () => document.querySelector('iframe')?.clientHeight > 300);
  const frame = await (await page.$('iframe')).contentFrame();
  await frame.waitForSelector('h1', { timeout: PATIENCE_S * 1000 });
  check('practice is marked in the record', /practice/i.test(await frame.$eval('body', (body) => body.textContent)));
  check('practice is marked in its title', /practice/i.test(await words('main h1')));
  await press('Look closer');
  await until('the stretch is read out', () => /\d V/.test(document.querySelector('.readout').textContent));
  await page.focus('.closer-plot');
  for (let n = 0; n < 5; n += 1) await page.keyboard.press('+');
  await until('down to single rows', () => /one interval|half cycle/.test(document.querySelector('.readout').textContent)
    && /every row/.test(document.querySelector('.closer .details').textContent)
    && !document.querySelector('.closer').hasAttribute('aria-busy'));
  // Also past the end of the stretch, to which a row of a pump at rest is longer.
  const readout = () => words('.readout');
  const readsOther = (name, than) => until(name, (was) => document.querySelector('.readout').innerText !== was
    && !document.querySelector('.closer').hasAttribute('aria-busy'), than);
  await page.keyboard.press('End');
  const last = await readout();
  await page.keyboard.press('ArrowRight');
  await readsOther('an arrow moves on to the next row', last);
  const next = await readout();
  await page.keyboard.press('ArrowLeft');
  await readsOther('an arrow moves back to the row before', next);
  check('the row before is where the next came from', (await readout()) === last, [last, await readout()]);
  await look('record');
}

/** Waits until a file of this ending lies in the folder, whole. */
async function saved(ending) {
  for (let n = 0; n < PATIENCE_S * 5; n += 1) {
    const file = fs.readdirSync(downloads).find((name) => name.endsWith(ending));
    if (file) return path.join(downloads, file);
    await new Promise((done) => { setTimeout(done, 200); });
  }
  throw new Error(`no file ${ending} was saved`);
}

async function papers() {
  await press('Report (PDF)');
  const report = await saved('.pdf');
  check('the report is a PDF', fs.readFileSync(report).subarray(0, 5).toString() === '%PDF-', report);
  await press('Report (web page)');
  const html = await saved('.html');
  check('the report is a page', /<!doctype html>/i.test(fs.readFileSync(html, 'utf8').slice(0, 100)), html);
  await press('Bundle');
  const bundle = await saved('.zip');
  const opened = path.join(folder, 'bundle');
  execFileSync('python3', ['-m', 'zipfile', '-e', bundle, opened]);
  const names = fs.readdirSync(opened, { recursive: true }).map(String);
  const archive = names.find((name) => name.endsWith('.pwa'));
  check('the bundle holds the record', Boolean(archive), names);
  const verified = spawnSync(program, ['verify', path.join(opened, archive ?? '')], { encoding: 'utf8', env: { ...process.env, XDG_CONFIG_HOME: path.join(folder, 'config') } });
  check('pumpwitness verify finds it in order', verified.status === 0, verified.stdout + verified.stderr);
}

async function records() {
  await go('records');
  await until('the record is kept', () => document.querySelectorAll('.records li').length === 1);
  await look('records');
  await page.type('input[type=search]', 'zzz-no-such-word');
  await press('Search');
  await until('a search can come to nothing', () => document.querySelectorAll('.records li').length === 0
    && /No record fits/.test(document.querySelector('.tally').textContent));
  await page.$eval('input[type=search]', (input) => { input.value = ''; });
  await press('Search');
  await until('and finds it again', () => document.querySelectorAll('.records li').length === 1);
  const cause = await page.$$eval('.search select', (all) => all[1].options.length);
  check('causes are offered', cause > 1, cause);
}

try {
  await start();
  await siteByKeys();
  await fit();
  await leave();
  await fetchRecord();
  await findings();
  await papers();
  await records();
  const harm = await page.evaluate(() => document.querySelectorAll('main img, main script, #owned').length + (document.title === 'owned' ? 1 : 0));
  check('no markup came of names and labels', harm === 0 && heard.dialogs === 0, harm);
  check('nothing left the origin', heard.strangers.length === 0, heard.strangers);
  check('nothing was complained of', heard.complaints.filter((words_) => !/status of 4\d\d/.test(words_)).length === 0, heard.complaints);
  const refused = heard.complaints.filter((words_) => /status of 4\d\d/.test(words_)).length;
  check('the one answer that was refused is the one left out on purpose', refused === 1, heard.complaints);

  // The program gone: the page must not go on as if nothing were.
  child.removeAllListeners('exit');
  child.kill();
  await until('a program that is gone is told', () => {
    const gone = document.getElementById('gone');
    return !gone.hidden && /does not answer/.test(gone.textContent);
  });
  await look('gone');
} catch (error) {
  check('the visit goes through', false, String(error));
  if (shots) await page.screenshot({ path: path.join(shots, 'ended.png'), fullPage: true }).catch(() => {});
} finally {
  child.removeAllListeners('exit');
  child.kill();
  await away();
  fs.rmSync(folder, { recursive: true, force: true });
}
finish();
