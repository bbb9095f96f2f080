// Every page, at three widths, and in dark where most is shown: accessible, without sideways scrolling, and from this server only.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { attentive, audited, base, hindrances, launch, open, pages, views } from './support.mjs';

// Two at a time: each has a page of its own, rendered in a process of its own, so both cores have work.
const found = await pages();
const hands = 2;
let browser;
before(async () => (browser = await launch()));
after(() => browser.close());

describe('every page', { concurrency: hands }, () => {
  for (let hand = 0; hand < hands; hand++) {
    describe(`hand ${hand + 1}`, { concurrency: 1 }, () => {
      let page, faults;
      before(async () => {
        const context = await browser.newContext();
        await audited(context);
        ({ page, faults } = await attentive(context));
      });
      for (const one of found.filter((_, at) => at % hands === hand))
        test((one.name ?? one.path).slice(0, 60), () => check(page, faults, one));
    });
  }
});

test('letters that are hard to read are found, on a page like others too', async () => {
  const context = await browser.newContext();
  await audited(context);
  const page = await context.newPage();
  await open(page, '/shunt');
  assert.deepEqual(await hindrances(page), []);
  await page.evaluate(() => document.querySelectorAll('main p').forEach((one) => (one.style.color = '#ccc')));
  assert.match((await hindrances(page)).join(), /^color-contrast: /);
  await page.evaluate(() => {
    const text = document.querySelector('main p');
    text.innerHTML = 'A word and <a href="/">another</a> beside it.';
    Object.assign(text.style, { color: '#222' });
    Object.assign(text.firstElementChild.style, { color: '#333', textDecoration: 'none', border: 0 });
  });
  assert.match((await hindrances(page)).join(), /link-in-text-block: /);
  await context.close();
});

test('no style asks how a screen is held', async () => {
  for (const sheet of ['style', 'charts', 'design', 'print', 'report']) {
    const answer = await fetch(`${base}/static/${sheet}.css`);
    assert.equal(answer.status, 200, sheet);
    assert.doesNotMatch(await answer.text(), /orientation|rotate\(/, sheet);
  }
});

// A page is loaded in the first of its views and then turned into the others, as a window is by its reader.
async function check(page, faults, { path, status, least, then }) {
  faults.length = 0;
  const [first, ...others] = least ? [{ ...views.at(-1), only: undefined }] : views;
  await view(page, first);
  await open(page, path, status);
  await then?.(page);
  // What a reader may open is checked open.
  await page.evaluate(() => document.querySelectorAll('details').forEach((part) => (part.open = true)));
  const inline = await page.evaluate(
    () => document.querySelectorAll('[style], style, script:not([src]), [onclick], [oninput], [onload]').length,
  );
  assert.equal(inline, 0, 'inline styles or scripts');

  for (const one of [first, ...others]) {
    await view(page, one);
    const { page: wide, window: room } = await page.evaluate(() => ({
      page: document.scrollingElement.scrollWidth,
      window: window.innerWidth,
    }));
    assert.ok(wide <= room, `${one.name}: the page is ${wide} px wide in a window of ${room} px: ${await culprits(page)}`);
    assert.deepEqual(await hindrances(page, one), [], one.name);
  }
  assert.deepEqual(faults, []);
}

async function view(page, { width, scheme }) {
  await page.setViewportSize({ width, height: 900 });
  await page.emulateMedia({ colorScheme: scheme });
}

// Names the elements that stick out, outermost first, for whoever has to mend it.
const culprits = (page) =>
  page.evaluate(() =>
    [...document.querySelectorAll('body *')]
      .filter(
        (node) =>
          node.getBoundingClientRect().right > window.innerWidth + 0.5 &&
          !node.closest('.scroll, .bar') &&
          node.checkVisibility(),
      )
      .slice(0, 4)
      .map((node) => `${node.tagName.toLowerCase()}#${node.id}.${node.getAttribute('class') ?? ''}`)
      .join(', '),
  );
