// What the browser tests share: the browser, the pages of the server under test, and an attentive page.
import assert from 'node:assert/strict';
import { existsSync } from 'node:fs';
import { readFile } from 'node:fs/promises';
import { createRequire } from 'node:module';
import { chromium } from 'playwright-core';

export const base = process.env.BASE_URL ?? 'http://127.0.0.1:8080';
export const schemes = ['light', 'dark'];
// The rules that follow from colours alone.
const contrast = 'color-contrast';
const links = 'link-in-text-block';
const colours = [contrast, links];
// How a page is looked at. Dark is another set of colours, not another layout, and the narrowest window shows what a narrow one
// shows, with less room.
export const views = [
  { name: '1280 px, light', width: 1280, scheme: 'light' },
  { name: '1280 px, dark', width: 1280, scheme: 'dark', only: colours },
  { name: '390 px, light', width: 390, scheme: 'light' },
  { name: '320 px, light', width: 320, scheme: 'light', only: ['target-size', 'scrollable-region-focusable'] },
];

// Debian's browser, since playwright-core brings none: the one without a window where it is installed, which draws the same
// pages for a third of the work. The sandbox is off because CI runs as root, where it refuses to start; the pages are our own.
// A page that is scrolled is where it goes at once: a press is not aimed at what still moves. The other switches keep the
// browser from calling home.
const installed = ['/usr/bin/chromium-headless-shell', '/usr/bin/chromium'];
export const executablePath = process.env.CHROMIUM ?? installed.find((path) => existsSync(path));
export const launch = () =>
  chromium.launch({
    executablePath,
    args: [
      '--no-sandbox',
      '--disable-gpu',
      '--disable-quic',
      '--disable-smooth-scrolling',
      '--no-first-run',
      '--disable-background-networking',
      '--disable-component-update',
      '--disable-sync',
    ],
  });

// Pages that must be there, with the status each answers. The start page's links come on top, so that a new page is
// covered the day it is linked.
const known = [
  ['/', 200],
  ['/shunt', 200],
  ['/shunt/fit', 200],
  ['/converter', 200],
  ['/current-channel', 200],
  ['/uncertainty', 200],
  ['/conformity?v=1&measured=1500.1&process.mean=1500&process.standard_deviation=0.12', 200],
  ['/api', 200],
  // An answer with gaps: copper under a current at which no temperature is steady.
  ['/shunt?shunt.tcr_ppm_per_k=3930&shunt.thermal_resistance_k_per_w=50&operating.current_a=2000', 200],
  ['/shunt?shunt.resistance_ohm=80O', 422],
  ['/no-such-page', 404],
  ['/api/no-such-page', 404],
];

// Types a letter for a digit and presses the button.
const slip = (key, button) => async (page) => {
  const field = page.locator(`[id="${key}"]`);
  await field.fill('36O');
  await field.blur();
  const answered = page.waitForResponse((answer) => answer.request().method() === 'POST');
  await Promise.all([page.waitForEvent('load'), page.getByRole('button', { name: button }).click()]);
  assert.equal((await answered).status(), 422);
};

// The pages that the index of the API reference leads to.
export async function reference() {
  const index = await (await fetch(`${base}/api`)).text();
  const links = [...index.matchAll(/href="(\/api\/[^"#]+)"/g)].map(([, href]) => href);
  return [...new Set(links)].filter((href) => href !== '/api/openapi.json');
}

export async function pages() {
  const found = new Map(known.map(([path, status]) => [path, { path, status }]));
  // The pages of the reference are alike: two in every view, the others (`least`) where room is scarcest alone.
  for (const [at, path] of (await reference()).entries()) found.set(path, { path, status: 200, least: at >= 2 });
  const start = await (await fetch(base)).text();
  const designs = [];
  for (const [, href] of start.matchAll(/<a\b[^>]*\bhref="([^"]+)"/g)) {
    const url = new URL(href.replace(/&(amp|#38);/g, '&'), base);
    const path = url.pathname + url.search;
    if (url.origin !== new URL(base).origin || found.has(path)) continue;
    const answer = await fetch(url, { method: 'HEAD' });
    if (!answer.headers.get('content-type')?.startsWith('text/html')) continue;
    // The overviews are alike and long: the first in every view, the others in the hardest.
    const design = /^\/worksheet\/[^/]+\/$/.test(path);
    found.set(path, { path, status: 200, least: design && designs.length > 0 });
    if (design) designs.push(path);
  }
  // What designs lead to: the pack, a channel, a threshold, what changed, a report, two side by side, a link that is
  // damaged, and the pages that say what was typed wrong.
  if (designs.length > 1) {
    const [one, other] = designs;
    const token = (path) => path.split('/')[2];
    const add = (name, path, status = 200, more = {}) => found.set(name, { name, path, status, ...more });
    for (const part of ['pack', 'current.1', 'voltage.1', 'protection.1', 'report']) add(part, one + part);
    add('changed', `${one}set?at=current.1&current.1.shunt.resistance_ohm=36u`);
    add('compare', `${one}compare?with=${token(other)}`);
    add('no such part', `${one}current.9`, 404, { least: true });
    add('damaged', `/compare?d=${token(one)}&d=damaged`, 400, { least: true });
    add('faults of a part', `${one}current.1`, 200, { then: slip('current.1.shunt.resistance_ohm', 'Recalculate') });
    add('faults of a new design', '/worksheet', 200, { then: slip('pack.cells_in_series', 'Start the design') });
  }
  return [...found.values()];
}

// A page that notes everything it should not do: errors in the console (a breach of the content security policy is
// one), exceptions in scripts, and requests to anywhere but the server.
export async function attentive(context) {
  const page = await context.newPage();
  const faults = [];
  page.on('console', (message) => {
    // The browser reports a status that is meant as an error, too: that of the page itself, and 422 of a live update
    // while a value is half typed.
    const text = message.text();
    const meant =
      text.startsWith('Failed to load resource') && (message.location().url === page.url() || text.includes(' 422 '));
    if (message.type() === 'error' && !meant) faults.push(`console: ${text}`);
  });
  page.on('pageerror', (error) => faults.push(`script: ${error.message}`));
  page.on('request', (request) => {
    if (new URL(request.url()).origin !== new URL(base).origin) faults.push(`request: ${request.url()}`);
  });
  page.on('requestfailed', (request) => {
    // A live update that a newer one overtakes is cut off on purpose.
    const reason = request.failure()?.errorText;
    if (reason !== 'net::ERR_ABORTED') faults.push(`request failed: ${request.url()} ${reason}`);
  });
  return { page, faults };
}

export async function open(page, path, status = 200) {
  const answer = await page.goto(new URL(path, base).href, { waitUntil: 'load' });
  assert.equal(answer.status(), status, `status of ${path}`);
  return answer;
}

const axe = await readFile(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');
const tags = ['wcag2a', 'wcag2aa', 'wcag21a', 'wcag21aa', 'wcag22aa', 'best-practice'];

// Brings the audit into every page of a context: as an init script, because a script tag would be stopped by the content
// security policy, as it should.
export const audited = (context) => context.addInitScript({ content: axe });

// What hinders somebody on a page, one line a rule: by all rules, by some only, or by all but some.
export async function hindrances(page, { only, except = [] } = {}) {
  const fresh = await page.evaluate(lettersToLookAt, [...looked]);
  fresh.forEach((letters) => looked.add(letters));
  if (only === colours && !fresh.length) return [];
  const { violations } = await page.evaluate(
    ([rules, options]) => {
      window.axe.configure({ rules: rules.map(([id, nodes]) => ({ id, selector: `${nodes}[data-letters]` })) });
      return window.axe.run(document, options);
    },
    [
      [
        [contrast, ''],
        [links, 'a[href]'],
      ],
      {
        runOnly: only ? { type: 'rule', values: only } : { type: 'tag', values: tags },
        rules: Object.fromEntries(except.map((rule) => [rule, { enabled: false }])),
        resultTypes: ['violations'],
        // What only the style sheet tells is told of the style sheet: pages.test.mjs.
        preload: false,
      },
    ],
  );
  return violations.map(({ id, help, nodes }) => {
    const where = nodes.slice(0, 3).map((node) => `${node.target.join(' ')} (${node.any[0]?.message ?? ''})`);
    return `${id}: ${help}: ${nodes.length} x, ${where.join('; ')}`;
  });
}

// Letters on their grounds, as they were looked at on one page or another.
const looked = new Set();

// Marks the letters of a page whose colours are to be looked at. A contrast follows from the colours of letters and ground, from
// size and weight, and how a link stands out also from the letters around it: what is alike in all of them is looked at in its
// first three places, and not again on another page.
function lettersToLookAt(known) {
  const grounds = new Map();
  const ground = (node) => {
    if (!node) return '';
    if (!grounds.has(node)) {
      const { backgroundColor, backgroundImage, opacity } = getComputedStyle(node);
      const opaque = backgroundColor.startsWith('rgb(') && opacity === '1' && backgroundImage === 'none';
      grounds.set(node, `${backgroundColor} ${backgroundImage} ${opacity}|${opaque ? '' : ground(node.parentElement)}`);
    }
    return grounds.get(node);
  };
  const letters = (node) => {
    const { color, fontSize, fontWeight, textShadow } = getComputedStyle(node);
    return `${color} ${fontSize} ${fontWeight} ${textShadow}|${ground(node)}`;
  };
  const around = (node) => {
    let block = node.parentElement;
    while (getComputedStyle(block).display.startsWith('inline')) block = block.parentElement;
    const { textDecorationLine, borderBottom, fontStyle, fontFamily } = getComputedStyle(node);
    const alone = block.textContent.trim() === node.textContent.trim();
    return [alone, textDecorationLine, borderBottom, fontStyle, fontFamily, letters(node.parentElement)].join(' ');
  };
  const written = (node) =>
    node.matches('input, select, textarea') ||
    [...node.childNodes].some((child) => child.nodeType === Node.TEXT_NODE && child.data.trim());
  const shown = (node) => node.checkVisibility({ visibilityProperty: true }) && node.getBoundingClientRect().width > 1;
  const places = new Map(known.map((key) => [key, 3]));
  const fresh = new Set();
  for (const node of document.body.querySelectorAll('*')) {
    node.removeAttribute('data-letters');
    const link = node.matches('a[href]');
    if (!(link || written(node)) || !shown(node)) continue;
    const key = letters(node) + (link ? around(node) : '');
    const before = places.get(key) ?? 0;
    if (before >= 3) continue;
    places.set(key, before + 1);
    node.setAttribute('data-letters', '');
    fresh.add(key);
  }
  return [...fresh];
}

// Folded and unfolded. Sizes of targets are those of pages.test.mjs: here the bar that stays in sight lies over some, which
// scrolling frees.
export async function hindrancesBothWays(page) {
  const found = [];
  for (const unfolded of [false, true]) {
    await page.evaluate((on) => document.querySelectorAll('details').forEach((part) => (part.open = on)), unfolded);
    found.push(...(await hindrances(page, { except: ['target-size'] })));
  }
  return found;
}
