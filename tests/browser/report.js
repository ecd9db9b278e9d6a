// Drives the HTML report: `node report.js FILE.html`. Prints each check and "N passed, N failed".
import path from 'node:path';
import { pathToFileURL } from 'node:url';
import { check, finish, launch } from './harness.js';

const file = path.resolve(process.argv[2]);
const address = pathToFileURL(file).href;
const shots = process.env.BROWSER_SHOTS;
const { browser, away } = await launch();

// A page with the report in it; complaints and requests of any kind are kept.
async function open(width, height, prepare = async () => {}) {
  const page = await browser.newPage();
  const heard = { complaints: [], requests: [] };
  page.on('console', (message) => heard.complaints.push(message.text()));
  page.on('pageerror', (error) => heard.complaints.push(String(error)));
  page.on('request', (request) => heard.requests.push(request.url()));
  await page.setViewport({ width, height, hasTouch: width < 500, isMobile: width < 500 });
  await prepare(page);
  await page.goto(address, { waitUntil: 'load' });
  return { page, heard };
}

const state = (page) => page.evaluate(() => document.getElementById('viewer').state?.());
const settle = (page) =>
  page.evaluate(() => new Promise((done) => {
    requestAnimationFrame(() => requestAnimationFrame(done));
  }));
const shoot = async (page, name) => {
  if (shots) await page.screenshot({ path: path.join(shots, `${name}.png`) });
};
const seen = (page, selector) =>
  page.$eval(selector, (element) => element.getClientRects().length > 0).catch(() => false);
// How much of the canvas is not white.
const inked = (page) =>
  page.evaluate(() => {
    const canvas = document.querySelector('.viewer-plot canvas');
    const { data } = canvas.getContext('2d').getImageData(0, 0, canvas.width, canvas.height);
    let dark = 0;
    for (let at = 3; at < data.length; at += 4) dark += data[at] > 40 ? 1 : 0;
    return dark / (data.length / 4);
  });
const readout = (page) => page.$eval('.viewer-readout', (table) => table.innerText);

try {
  // ---- On a desk ----
  {
    const { page, heard } = await open(1280, 900);
    const ready = await page.evaluate(
      () => performance.getEntriesByType('navigation')[0].loadEventEnd,
    );
    console.log(`    interactive after ${ready.toFixed(0)} ms`);
    check('interactive within a second', ready < 1000, ready);
    check('the viewer is there', await seen(page, '#viewer'));
    await page.$eval('#viewer', (element) => element.scrollIntoView());
    await settle(page);
    await shoot(page, 'whole');
    const whole = await state(page);
    check('begins with the whole record', whole.from === 0 && whole.to === whole.length, whole);
    await page.waitForFunction(() => document.querySelector('.viewer-readout').rows.length > 2);
    const ink = await inked(page);
    check('something is drawn', ink > 0.01, ink);

    // By keyboard alone: zoom to single rows.
    await page.focus('.viewer-plot');
    const focus = await page.$eval('.viewer-plot', (plot) => getComputedStyle(plot).outlineStyle);
    check('the focus shows', focus !== 'none', focus);
    await page.keyboard.press('n');
    for (let n = 0; n < 30; n += 1) await page.keyboard.press('+');
    await settle(page);
    const close = await state(page);
    check('keys zoom in', close.to - close.from <= 100, close.to - close.from);
    await page.keyboard.press('0');
    check('0 shows the whole record', (await state(page)).to === whole.length);
    await page.keyboard.press('Home');
    await page.keyboard.press('n');
    for (let n = 0; n < 13; n += 1) await page.keyboard.press('+');
    await page.waitForFunction(
      () => /one row of the record|one cycle/.test(document.querySelector('.viewer-readout').innerText),
      { timeout: 5000 },
    ).catch(() => {});
    check('single rows can be read', /one row|one cycle/.test(await readout(page)), await readout(page));
    check('with their values', /\d V/.test(await readout(page)), await readout(page));
    await shoot(page, 'rows');
    const before = await state(page);
    await page.keyboard.press('ArrowRight');
    check('arrows move the cursor', (await state(page)).cursor > before.cursor);
    await page.keyboard.press('PageDown');
    check('pages move the view', (await state(page)).from > before.from);
    const said = await page.$eval('#viewer-range', (range) => range.textContent);
    check('the range is said', /\d{4}, \d/.test(said), said);

    // By mouse.
    const box = await page.$eval('.viewer-plot', (plot) => plot.getBoundingClientRect().toJSON());
    const [x, y] = [box.x + box.width / 2, box.y + 120];
    await page.mouse.click(x, y);
    await page.keyboard.press('0');
    await page.mouse.move(x, y);
    await page.mouse.wheel({ deltaY: -600 });
    await settle(page);
    const wheeled = await state(page);
    check('the wheel zooms', wheeled.to - wheeled.from < 0.6 * whole.length, wheeled);
    await page.mouse.down();
    await page.mouse.move(x - 200, y, { steps: 4 });
    await page.mouse.up();
    check('dragging moves', (await state(page)).from > wheeled.from);
    await page.evaluate(() => document.activeElement.blur());
    const held = await state(page);
    await page.mouse.move(x, y);
    await page.mouse.wheel({ deltaY: -600 });
    await settle(page);
    const after = await state(page);
    check('without focus the wheel scrolls the page', after.to - after.from === held.to - held.from);

    // From a finding's picture into the viewer, and back.
    const closer = await page.$('figure[data-from] button.closer');
    check('pictures lead into the viewer', Boolean(closer));
    if (closer) {
      await closer.evaluate((element) => element.click());
      await settle(page);
      await page.waitForFunction(() => document.activeElement.className === 'viewer-plot');
      const led = await state(page);
      check('at the stretch they show', led.to - led.from < whole.length, led);
      check('and back', await seen(page, '.viewer-tools a'));
      await new Promise((done) => { setTimeout(done, 300); });
      await shoot(page, 'closer');
    }
    check('nothing was requested', heard.requests.every((url) => url === address), heard.requests);
    check('nothing was complained of', heard.complaints.length === 0, heard.complaints);
    await page.close();
  }

  // ---- In a hand ----
  {
    const { page, heard } = await open(375, 800);
    const wide = await page.evaluate(() => document.documentElement.scrollWidth);
    check('375 px: the page does not scroll sideways', wide <= 375, wide);
    await shoot(page, 'phone-top');
    await page.$eval('#viewer', (element) => element.scrollIntoView());
    await settle(page);
    await shoot(page, 'phone-viewer');
    const box = await page.$eval('.viewer-plot', (plot) => plot.getBoundingClientRect().toJSON());
    check('375 px: the viewer fits', box.right <= 375 && box.width > 250, box);
    const y = box.y + 150;
    const touch = await page.createCDPSession();
    const points = (a, b) => [{ x: a, y, id: 0 }, { x: b, y, id: 1 }];
    const send = (type, touchPoints) =>
      touch.send('Input.dispatchTouchEvent', { type, touchPoints });
    await send('touchStart', points(150, 220));
    for (let n = 1; n <= 8; n += 1) await send('touchMove', points(150 - n * 10, 220 + n * 10));
    await send('touchEnd', []);
    await settle(page);
    const pinched = await state(page);
    check('fingers zoom', pinched.to - pinched.from < 0.7 * pinched.length, pinched);
    const small = await page.$$eval('button, select', (all) =>
      all.filter((element) => element.getClientRects().length)
        .map((element) => element.getBoundingClientRect().height)
        .filter((height) => height < 24));
    check('375 px: buttons are large enough for a finger (WCAG 2.5.8)', small.length === 0, small);
    check('375 px: nothing was complained of', heard.complaints.length === 0, heard.complaints);
    await page.close();
  }

  // ---- Without script, and on paper ----
  {
    const { page, heard } = await open(1280, 900, (fresh) => fresh.setJavaScriptEnabled(false));
    check('without script there is no viewer', !(await page.$('#viewer:not([hidden])')));
    const pictures = (await page.$$('figure svg')).length;
    check('without script the pictures stand', pictures > 3, pictures);
    check('without script nothing was complained of', heard.complaints.length === 0, heard.complaints);
    await page.close();
  }
  {
    const { page } = await open(1280, 900);
    await page.emulateMediaType('print');
    check('on paper there is no viewer', !(await seen(page, '#viewer')));
    check('on paper there is no button', !(await seen(page, 'button')));
    const pdf = await page.pdf({ format: 'A4', path: shots && path.join(shots, 'printed.pdf') });
    check('it prints', Buffer.from(pdf.subarray(0, 5)).toString() === '%PDF-' && pdf.length > 20000, pdf.length);
    await page.close();
  }

  // ---- For those who cannot see it ----
  {
    const { page } = await open(1280, 900);
    const missing = await page.$$eval('svg[role=img]', (all) =>
      all.filter((svg) => !svg.querySelector('title')?.textContent || !svg.querySelector('desc')?.textContent).length);
    check('every picture has a name and a description', missing === 0, missing);
    const nameless = await page.$$eval('button, select, a', (all) =>
      all.filter((element) => !(element.getAttribute('aria-label') || element.textContent.trim())).length);
    check('every button and link has a name', nameless === 0, nameless);
    const levels = await page.$$eval('h1, h2, h3, h4, h5', (all) =>
      all.map((heading) => Number(heading.tagName[1])));
    const jumps = levels.filter((level, n) => n > 0 && level > levels[n - 1] + 1);
    check('headings skip no level', levels[0] === 1 && jumps.length === 0, levels);
    // WCAG 2.2, 1.4.3: 4.5 : 1 for text. Colours on the white page.
    const faint = await page.evaluate(() => {
      const channel = (value) => {
        const share = value / 255;
        return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
      };
      const luminance = ([r, g, b]) =>
        0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
      const found = new Set();
      for (const element of document.querySelectorAll('p, li, td, th, dt, dd, h1, h2, h3, h4, a, button, caption, figcaption, summary')) {
        const colour = getComputedStyle(element).color.match(/\d+/g).slice(0, 3).map(Number);
        if (1.05 / (luminance(colour) + 0.05) < 4.5) found.add(colour.join());
      }
      return [...found];
    });
    check('words stand out (WCAG 1.4.3)', faint.length === 0, faint);
    await page.close();
  }
} finally {
  await away();
}
finish();
