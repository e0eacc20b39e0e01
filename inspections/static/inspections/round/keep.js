// Brings the round onto the phone: the worker that serves its pages with no signal, and the pack of the day.

import { _ } from "../words.js";
import * as store from "./store.js";

export const ADDRESSES = {
  page: "/round/",
  worker: "/round/worker.js",
  who: "/round/api/who/",
  pack: "/round/api/pack/",
  photos: "/round/api/photos/",
  entries: "/round/api/entries/",
  aside: "/round/api/aside/",
};

// True once the pages of the round open with no signal; false where this browser cannot, or the site came without
// https.
export async function keepPages() {
  if (!("serviceWorker" in navigator)) return false;
  try {
    await navigator.serviceWorker.register(ADDRESSES.worker, { scope: "/", updateViaCache: "none" });
    await navigator.serviceWorker.ready;
    return true;
  } catch {
    return Boolean(navigator.serviceWorker.controller);
  }
}

// The pack of whoever is signed in, or the reason why there is none: "no_signal", "sign_in" or the site's words.
export async function fetchPack() {
  const broughtAt = Date.now();
  let answer;
  let said;
  try {
    answer = await fetch(
      ADDRESSES.pack, {
        credentials: "same-origin",
        cache: "no-store",
        redirect: "error",
        headers: { Accept: "application/json" },
        signal: AbortSignal.timeout(30000),
      }
    );
    said = await answer.json();
  } catch {
    return { problem: "no_signal" };
  }
  if (said.code === "sign_in") return { problem: "sign_in" };
  if (!answer.ok) {
    return { problem: "refused", words: said.message ?? _("The site answered %(status)s.", { status: answer.status }) };
  }
  const pack = { ...said, brought_at: broughtAt };
  await store.keepPack(pack);
  return { pack };
}
