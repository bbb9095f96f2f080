// What a refusal says: it offers only what is accepted, sees slips where there are some, and names which of two fields it means.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { packs, textOf, visitor } from './design.mjs';
import { launch, open } from './support.mjs';

let browser;
before(async () => (browser = await launch()));
after(() => browser.close());
const visit = visitor(() => browser);

const said = async (page, path) => {
  await open(page, path, 422);
  return textOf(page, 'main .summary');
};

test('a refusal offers what the box accepts, sees a letter O in numbers alone, and names the group', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    const kelvin = await said(page, '/current-channel?conditions.ambient_min_degc=85 K');
    assert.match(kelvin, /wanted in degrees? Celsius; “85 K” is in kelvin\.$/);
    assert.match(await said(page, '/current-channel?conditions.ambient_min_degc=300 K'), /enter 26.85/);
    const nano = await said(page, '/divider?upper.resistance_ohm=20 nano');
    assert.match(nano, /“20 nano” is not one/);
    assert.doesNotMatch(nano, /letter O/);
    assert.match(await said(page, '/divider?upper.resistance_ohm=36O'), /letter O/);
    const both = await said(page, '/divider?upper.tolerance_percent=-4&lower.tolerance_percent=-4');
    assert.match(both, /Tolerance \(Upper string\) must lie .*Tolerance \(Lower/);
    assert.match(await said(page, '/divider?upper.count=x6'), /as a whole number between 1 and \d+; “x6” is none/);
    // What follows from the value that was typed is no second slip.
    const highest = await said(page, '/divider?input_max_v=500');
    assert.match(highest, /^1 value needs a correction The highest input lies below the lowest/);
  }));

test('a link with a value that is refused says so in its heading, and leads back', () =>
  visit({ javaScriptEnabled: false }, async (page) => {
    const [pack] = await packs();
    await open(page, `${pack}set?at=&current.1.shunt.resistance_ohm=36O`, 422);
    assert.equal(await textOf(page, 'h1'), 'This value is not taken over');
    assert.equal(await page.getByRole('link', { name: 'The design as it was' }).count(), 1);
  }));
