// What a change turned is said under the verdict, and what a press did is said where it leads.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { follow, packs, plain, press, textOf, visitor, withAndWithout } from './design.mjs';
import { launch, open } from './support.mjs';

let browser;
let all;
before(async () => {
  browser = await launch();
  all = await packs();
});
after(() => browser.close());
const visit = visitor(() => browser);

test('after a lever the overview says which requirement turned', () =>
  visit({}, async (page) => {
    await open(page, all[0]);
    assert.doesNotMatch(await textOf(page, '.verdict'), /Since you began/);
    const cause = plain(await page.locator('.turns h4 a').first().innerText());
    await follow(page, page.locator('.turns a.lever').first());
    const said = await textOf(page, '.verdict h2 + p');
    const [, part, name] = said.match(/^Since you began (.+?): (.+?) goes from fails to (thin|holds|not judged)(, and \d+ more turned)?\.$/);
    assert.equal(`${part}: ${name}`.toLowerCase(), cause.toLowerCase());
  }));
