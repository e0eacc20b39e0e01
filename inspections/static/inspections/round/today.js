// On Today: keeps the round on this phone while there is a signal, and says so.

import { _, ngettext } from "../words.js";
import { fetchPack, keepPages } from "./keep.js";
import { askToStay } from "./store.js";

const place = document.getElementById("round-kept");
if (place) keep();

async function keep() {
  askToStay();
  const [isKept, { pack }] = await Promise.all([keepPages(), fetchPack()]);
  if (!pack) return;
  const n = pack.legs.reduce((sum, leg) => sum + leg.stops.length, 0);
  const stops = ngettext("%(n)s stop", "%(n)s stops", n);
  place.textContent = isKept
    ? _("%(stops)s kept on this phone: the round opens with no signal too.", { stops })
    : _("%(stops)s read; this browser cannot keep the pages for when there is no signal "
      + "(the site needs https for that).", { stops });
}
