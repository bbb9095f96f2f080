// Every page, at three widths, and in dark where most is shown: accessible, without sideways scrolling, and from this server only.
import assert from 'node:assert/strict';
import { after, before, describe, test } from 'node:test';
import { attentive, audited, hindrances, launch, open, pages } from './support.mjs';

let browser;
before(async () => (browser = await launch()));
after(() => browser.close());

// Two at a time: a page renders in a process of its own, so both cores have work.
describe('every page', { concurrency: 2 }, async () => {
  for (const { name, path, status, views, then } of await pages()) {
    for (const [width, colorScheme] of views) {
      test(`${(name ?? path).slice(0, 60)} at ${width} px, ${colorScheme}`, async () => {
        const context = await browser.newContext({ viewport: { width, height: 900 }, colorScheme });
        try {
          await check(context, path, status, then);
        } finally {
          await context.close();
        }
      });
    }
  }
});

async function check(context, path, status, then) {
  await audited(context);
  const { page, faults } = await attentive(context);
  await open(page, path, status);
  await then?.(page);

  // What a reader may open is checked open.
  await page.evaluate(() => document.querySelectorAll('details').forEach((part) => (part.open = true)));

  const { page: wide, window: room } = await page.evaluate(() => ({
    page: document.scrollingElement.scrollWidth,
    window: window.innerWidth,
  }));
  assert.ok(wide <= room, `the page is ${wide} px wide in a window of ${room} px: ${await culprits(page)}`);

  const inline = await page.evaluate(
    () => document.querySelectorAll('[style], style, script:not([src]), [onclick], [oninput], [onload]').length,
  );
  assert.equal(inline, 0, 'inline styles or scripts');

  assert.deepEqual(await hindrances(page), []);
  assert.deepEqual(faults, []);
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
