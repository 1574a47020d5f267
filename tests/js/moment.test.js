// Moments in the zone of the reader. The zone is set here, so that the test means the same everywhere.
import assert from "node:assert/strict";
import test from "node:test";
import { localMoment } from "../../static/js/lib/moment.js";

test("a moment in UTC is shown by the reader's own clock, summer time and all", () => {
  // Central European time: an hour ahead in winter, two from the last Sunday of March to that of October (EU 2000/84/EC).
  process.env.TZ = "Europe/Berlin";
  assert.equal(localMoment("2026-11-25 23:30 UTC"), "2026-11-26 00:30");
  assert.equal(localMoment(" 2026-07-01 12:00 UTC\n"), "2026-07-01 14:00");
  assert.equal(localMoment("2026-11-25"), null);
  assert.equal(localMoment("yesterday"), null);
});
