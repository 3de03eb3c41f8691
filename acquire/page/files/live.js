// The recording under way: figures that the machine follows in its journal. Looking on costs no reading.

import { ask, at, list, put, shake } from "./asking.js";

const EVERY_MS = 500, IDLE_MS = 3000, OLD_S = 2;

let told = {};

/** Looks for ever, seldom while nothing is recorded or the page is not seen. */
export async function watch() {
  let live = null;
  try {
    if (document.visibilityState === "visible") live = (await ask("live")).says.live ?? null;
    show(live);
  } catch {
    if (!at("live").hidden) put("live-state", "no connection: these figures are old");
  }
  setTimeout(watch, live ? EVERY_MS : IDLE_MS);
}

function show(live) {
  at("live").hidden = !live;
  at("live").classList.toggle("speaks", Boolean(live) && !live.state);
  if (!live) return;
  put("live-what", live.title);
  put("live-problem", live.problem);
  put("live-reading", minus(live.reading));
  put("live-age", live.age_s > OLD_S ? `last reading ${live.age_s.toFixed(0)} s ago` : "");
  put("live-where", live.where);
  put("live-next", live.next);
  put("live-still", live.still);
  at("live-share").value = live.share;
  tellHand(live);
  put("live-taken", minus(live.taken));
  list(at("live-stations"), live.stations.map(minus));
  put("live-state", live.state);
}

/** A phone that can shakes once for a station, long for what goes wrong. */
function tellHand(live) {
  if (live.problem && live.problem !== told.problem) shake([200, 100, 200]);
  else if (told.taken && live.taken !== told.taken) shake(40);
  told = { taken: live.taken, problem: live.problem };
}

/** A sign that is seen from a metre away. */
export const minus = (words) => words.replace(/(^|[\s(:=/])-(?=[\d.])/g, "$1−");
