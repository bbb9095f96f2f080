// A design in every state in which it can be: each page is accessible, folded and unfolded, and fits its window, down to a
// window of 320 by 256; and what is typed stays where the server does not answer, or somebody else changes another value.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { field, fill, packs, press, recalculate, textOf, tokenOf, visitor } from './design.mjs';
import { audited, base, hindrancesBothWays, launch, open } from './support.mjs';

let browser;
before(async () => (browser = await launch()));
after(() => browser.close());
const visit = visitor(() => browser);

const json = async (path, body) => {
  const sent = body && { method: 'POST', body: JSON.stringify(body), headers: { 'content-type': 'application/json' } };
  const answer = await fetch(base + path, sent);
  assert.equal(answer.status, 200, `${path}: ${await answer.clone().text()}`);
  return answer.json();
};
const document = async (at = 0) => json(`/api/v1/links/${tokenOf((await packs())[at])}`);
const opened = async (design) => (await json('/api/v1/links', design)).link;

// A document without what only an answer has.
const bare = ({ engine, ...design }) => design;

const states = {
  'one part': async () => opened({ ...bare(await document()), ...emptied(await document()), current: bare(await document()).current.slice(0, 1) }),
  'long names': async () => {
    const design = bare(await document());
    for (const parts of Object.values(design))
      if (Array.isArray(parts)) for (const part of parts) if (part && typeof part === 'object' && 'name' in part) part.name = 'Measurement of the upper half of the second string, rear'.slice(0, 60);
    return opened(design);
  },
  'everything is to be typed': async () => {
    const design = bare(await document());
    return opened({ ...design, ...emptied(design), precharge: [{}], race: [{}] });
  },
  'nearly everything fails': async () => {
    const design = bare(await document());
    for (const of of Object.values(design.requirements ?? {})) if (of && typeof of === 'object' && 'gain_percent' in of) of.gain_percent = 0.001;
    design.pack.peak_a *= 20;
    return opened(design);
  },
  'where it began cannot be read': async () => {
    const [path] = await packs();
    return path.replace(/\/$/, '~broken/');
  },
};
const emptied = (design) =>
  Object.fromEntries(Object.entries(design).filter(([, value]) => Array.isArray(value)).map(([key]) => [key, []]));

for (const [name, path] of Object.entries(states))
  test(`${name}: the overview is accessible and fits`, async () => {
    const at = await path();
    for (const [width, height] of [[1280, 800], [390, 844], [320, 256]]) {
      const context = await browser.newContext({ viewport: { width, height } });
      try {
        await audited(context);
        const page = await context.newPage();
        await open(page, at);
        const wide = await page.evaluate(() => document.scrollingElement.scrollWidth - window.innerWidth);
        assert.ok(wide <= 0, `${wide} px too wide at ${width}`);
        assert.deepEqual(await hindrancesBothWays(page), []);
      } finally {
        await context.close();
      }
    }
  });

test('a link that is cut, damaged or of a newer form says so', async () => {
  const token = tokenOf((await packs())[0]);
  for (const [of, wrong] of Object.entries({ cut: token.slice(0, -9), damaged: token.replace(/.(?=.{40}$)/, (one) => (one === 'A' ? 'B' : 'A')), newer: `Cw${token.slice(2)}` })) {
    const answer = await fetch(`${base}/worksheet/${wrong}/`, { headers: { accept: 'text/html' } });
    assert.equal(answer.status, 400, of);
    assert.match(await answer.text(), /link/i, of);
  }
});

const resistance = 'current.1.shunt.resistance_ohm';

for (const [how, answers] of [
  ['the server is busy', (route) => route.fulfill({ status: 503, contentType: 'text/html', body: 'busy' })],
  ['no answer comes', (route) => route.abort('timedout')],
])
  test(`what is typed stays while ${how}`, async () => {
    const context = await browser.newContext({ viewport: { width: 1280, height: 900 } });
    try {
      const page = await context.newPage();
      const [path] = await packs();
      await open(page, `${path}current.1`);
      const live = (url) => url.pathname.endsWith('/current.1');
      await page.route(live, (route) => (route.request().headers()['x-part'] ? answers(route) : route.fallback()));
      await fill(page, resistance, '36u');
      await page.waitForFunction(() => /No answer/.test(document.getElementById('live-status').textContent));
      assert.match(await page.locator(field(resistance)).inputValue(), /^36\s?[uµ]$/);
      assert.equal(new URL(page.url()).pathname, `${path}current.1`, 'the address is that of what was answered');
      await page.unroute(live);
      assert.equal(await press(page, recalculate(page)), 303);
      assert.match(await page.locator(field(resistance)).inputValue(), /^36\s?µ$/);
    } finally {
      await context.close();
    }
  });

test('two windows on one design do not touch each other', () =>
  visit({}, async (one, context) => {
    const [path] = await packs();
    const other = await context.newPage();
    for (const page of [one, other]) await open(page, `${path}current.1`);
    await fill(one, resistance, '36u');
    await fill(other, 'current.1.shunt.rated_power_w', '41');
    for (const page of [one, other]) await page.waitForFunction((old) => location.pathname !== old, `${path}current.1`);
    for (const page of [one, other]) await page.reload();
    assert.match(await one.locator(field(resistance)).inputValue(), /^36\s?µ$/);
    assert.notEqual(await one.locator(field('current.1.shunt.rated_power_w')).inputValue(), '41');
    assert.equal(await other.locator(field('current.1.shunt.rated_power_w')).inputValue(), '41');
    assert.match(await textOf(other, '.since summary'), /1 value$/);
  }));
