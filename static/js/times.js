// @ts-check
// Moments stand in UTC, as the page is the same for everybody; here they are shown by the reader's own clock.
import { all } from "./lib/dom.js";
import { localMoment } from "./lib/moment.js";

for (const time of all("time")) {
  const utc = time.textContent.trim();
  const local = localMoment(utc);
  if (local === null) continue;
  time.dateTime = utc.replace(" UTC", "Z");
  time.title = utc;
  time.textContent = local;
}
// A report has no script of its own: the address says the zone.
for (const link of all("a[data-zone]")) link.href += `?offset_min=${-new Date().getTimezoneOffset()}`;
