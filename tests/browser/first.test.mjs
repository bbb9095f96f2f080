// What fails and could not be judged otherwise: what has to be given first stands where changes are offered.
import assert from 'node:assert/strict';
import { after, before, test } from 'node:test';
import { ferry, follow, plain, textOf, visitor } from './design.mjs';
import { base, launch, open } from './support.mjs';

let browser;
before(async () => (browser = await launch()));
after(() => browser.close());
const visit = visitor(() => browser);

test('where a row would only stop being judged, what is to be given first is a link', () =>
  visit({}, async (page) => {
    const body = new URLSearchParams({ ...ferry, add: 'voltage:' });
    const begun = await fetch(`${base}/worksheet`, { method: 'POST', body, redirect: 'manual' });
    const values = { 'requirements.voltage.gain_percent': '0.8', 'voltage.1.surface.leakage_ohm': '1T', 'voltage.1.calibration.kind': 'two-point' };
    const pairs = Object.entries(values).map(([key, text]) => `&${key}=${encodeURIComponent(text)}`);
    await open(page, `${begun.headers.get('location')}set?at=${pairs.join('')}`);
    const cause = page.locator('.turns li', { hasText: 'reading error' }).first();
    const said = plain(await cause.innerText());
    assert.match(said, /Give Voltage channel: Integral non-linearity \(Converter and reference\), Voltage channel: Noise .* first/);
    assert.doesNotMatch(said, /No change of one value|nearest comes|this row then fails/);
    await follow(page, cause.locator('.lacks a').first());
    assert.equal(await page.evaluate(() => document.activeElement.id || location.hash.slice(1)), 'voltage.1.converter.inl_ppm');
    assert.match(await textOf(page, 'h1'), /Voltage channel/);
  }));
