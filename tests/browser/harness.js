// What the tests in the browser share: checks that are counted, the browser, the program that serves a
// page, and how a page is judged by eye, finger and key.
import { spawn } from 'node:child_process';
import fs from 'node:fs';
import os from 'node:os';
import path from 'node:path';
import puppeteer from 'puppeteer-core';

const counted = { passed: 0, failed: 0 };

export function check(name, holds, found = '') {
  if (holds) counted.passed += 1;
  else counted.failed += 1;
  console.log(`${holds ? 'ok' : 'FAILED'}  ${name}${holds ? '' : `: ${JSON.stringify(found)}`}`);
}

/** Prints the count and ends. */
export function finish() {
  console.log(`${counted.passed} passed, ${counted.failed} failed`);
  process.exit(counted.failed ? 1 : 0);
}

/** A browser with a profile of its own; `away` closes it and removes the profile. */
export async function launch() {
  const profile = fs.mkdtempSync(path.join(os.tmpdir(), 'pumpwitness-browser-'));
  const browser = await puppeteer.launch({
    executablePath: process.env.CHROMIUM,
    userDataDir: profile,
    // Each wait has a limit of its own.
    protocolTimeout: 0,
    args: [
      '--no-sandbox', '--disable-gpu', '--no-first-run', '--disable-background-networking',
      '--disable-component-update', '--disable-sync',
    ],
  });
  const away = async () => {
    await browser.close();
    fs.rmSync(profile, { recursive: true, force: true });
  };
  return { browser, away };
}

/** Wrong fits of the first lesson, by the practice's names, and the check that shows each. */
export const WRONG = { 'loop-open': 'transducer', 'clamp-round-both': 'current', 'clamp-turned': 'power' };

/** Starts `PROGRAM open` with these options in a folder of its own; gives the process and the address
 * it prints. */
export function serving(program, options, folder) {
  const child = spawn(program, ['open', ...options, '--folder', path.join(folder, 'records'), '--no-browser'], {
    stdio: ['ignore', 'pipe', 'pipe'],
    env: { ...process.env, XDG_CONFIG_HOME: path.join(folder, 'config') },
  });
  return new Promise((done, fail) => {
    let said = '';
    const hear = (part) => {
      said += part;
      const address = said.match(/http:\/\/127\.0\.0\.1:\d+\/[0-9a-f]{32,}\//)?.[0];
      if (address) done({ child, address });
    };
    child.stdout.on('data', hear);
    child.stderr.on('data', hear);
    child.on('exit', (code) => fail(new Error(`open ended with ${code}: ${said}`)));
  });
}

/** What the page at the panel is told. */
export const stateOf = (page) => page.evaluate(() => fetch('api/state').then((answer) => answer.json()));

/** Presses what is seen under these words. */
export async function press(page, said, patience_ms) {
  const handle = await page.waitForFunction((wanted) =>
    [...document.querySelectorAll('main button, main a, nav a, main label')].find((element) =>
      element.getClientRects().length && !element.disabled
      && (element.getAttribute('aria-label') ?? element.innerText).trim().startsWith(wanted)),
  { polling: 100, timeout: patience_ms }, said);
  await handle.evaluate((element) => element.click());
}

/** Evaluated in the page: a heading that is seen says this. */
export const headingSays = (wanted) =>
  [...document.querySelectorAll('main h1, main h2')].some((one) => one.getClientRects().length && one.textContent.includes(wanted));

/** Everything that a page is judged by as it stands, measured in the page itself. */
export function judged(page) {
  return page.evaluate(() => {
    const seen = (element) => element.getClientRects().length > 0
      && getComputedStyle(element).visibility !== 'hidden' && !element.closest('.unseen, .skip');
    const named = (element) => `${element.tagName.toLowerCase()}${element.id ? `#${element.id}` : ''} ${element.textContent.trim().slice(0, 30)}`;
    const every = (selector) => [...document.querySelectorAll(selector)].filter(seen);

    // WCAG 2.2, relative luminance and contrast ratio.
    const channel = (value) => {
      const share = value / 255;
      return share <= 0.04045 ? share / 12.92 : ((share + 0.055) / 1.055) ** 2.4;
    };
    const numbers = (colour) => colour.match(/[\d.]+/g).map(Number);
    const luminance = (colour) => {
      const [r, g, b] = numbers(colour);
      return 0.2126 * channel(r) + 0.7152 * channel(g) + 0.0722 * channel(b);
    };
    const ground = (element) => {
      for (let at = element; at; at = at.parentElement) {
        const colour = getComputedStyle(at).backgroundColor;
        const [, , , alpha = 1] = numbers(colour);
        if (alpha === 1) return colour;
        if (alpha !== 0) return 'rgb(127, 127, 127)';
      }
      return 'rgb(255, 255, 255)';
    };
    const contrast = (element) => {
      const [a, b] = [luminance(getComputedStyle(element).color), luminance(ground(element))];
      return (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    };
    const worded = every('body *').filter((element) =>
      [...element.childNodes].some((node) => node.nodeType === Node.TEXT_NODE && node.data.trim()));
    const faint = worded.filter((element) => contrast(element) < 7)
      .map((element) => `${named(element)}: ${contrast(element).toFixed(1)}`);

    // The target of a tick or a choice is its label; a link within a line of words is no target of
    // its own (WCAG 2.2, 2.5.5).
    const targets = every('button, a.button, nav a, select, input, textarea, summary, h2 a');
    const small = targets.map((element) => [element, (element.matches('[type=radio], [type=checkbox]') ? element.closest('label') : element).getBoundingClientRect()])
      .filter(([, box]) => box.height < 43.5 || box.width < 43.5)
      .map(([element, box]) => `${named(element)}: ${box.width.toFixed(0)} x ${box.height.toFixed(0)}`);

    const nameless = every('button, a, input, select, textarea, iframe, nav, section, canvas[role=img]').filter((element) => {
      const by = element.getAttribute('aria-labelledby');
      return !(element.getAttribute('aria-label') || element.title || element.textContent.trim()
        || element.labels?.length || (by && document.getElementById(by)?.textContent));
    }).map(named);
    const levels = every('h1, h2, h3, h4').map((heading) => Number(heading.tagName[1]));
    return {
      width: document.documentElement.scrollWidth,
      faint,
      small,
      nameless,
      headings: levels.filter((level) => level === 1).length,
      jumps: levels.filter((level, n) => n > 0 && level > levels[n - 1] + 1),
      primary: every('main .primary').map(named),
      landmarks: ['header', 'nav', 'main', 'footer'].filter((tag) => !document.querySelector(tag)),
    };
  });
}

/** Presses Tab until the element that has the focus matches; true when it does. What gets the focus
 * on the way must show it. */
export async function tabTo(page, selector, unshown = []) {
  for (let n = 0; n < 120; n += 1) {
    const here = await page.evaluate((wanted) => {
      const element = document.activeElement;
      const style = getComputedStyle(element);
      const shows = element === document.body || (style.outlineStyle !== 'none' && parseFloat(style.outlineWidth) >= 2);
      return { found: element.matches(wanted), shows, name: `${element.tagName} ${element.textContent.trim().slice(0, 30)}` };
    }, selector);
    if (n > 0 && !here.shows) unshown.push(here.name);
    if (here.found) return true;
    await page.keyboard.press('Tab');
  }
  return false;
}
