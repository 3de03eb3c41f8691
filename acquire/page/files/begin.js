// What may be begun, as the machine says, and the asking for it.

import { at, made, order } from "./asking.js";

let choices = [];

/** Shows what may be begun; `changed` is called once a run is under way. */
export function setUpBegin(changed) {
  at("begin-instrument").addEventListener("change", showSides);
  at("begin").querySelector("form").addEventListener("submit", async (event) => {
    event.preventDefault();
    await order("begin", asked(), "begin-refused", { lost: "no connection: nothing was begun" });
    changed();
  });
}

export function showBegin(found) {
  if (JSON.stringify(found) === JSON.stringify(choices)) return;
  choices = found;
  at("begin-instrument").replaceChildren(
    ...choices.map((each, k) => made("option", `${each.instrument} (${each.unit})`, { value: k })));
  showSides();
}

function showSides() {
  const chosen = choices[at("begin-instrument").value];
  at("begin-side").replaceChildren(
    ...(chosen?.sides ?? []).map((side, k) => made("option", side.words, { value: k })));
  for (const each of document.querySelectorAll("#begin .level")) each.hidden = !chosen?.is_level;
}

function asked() {
  const chosen = choices[at("begin-instrument").value];
  const { words, ...side } = chosen?.sides[at("begin-side").value] ?? {};
  const ticked = (name) => at(`begin-${name}`).checked && !at(`begin-${name}`).parentElement.hidden;
  return {
    instrument: chosen?.instrument, side, direction: at("begin-direction").value,
    turned: ticked("turned"), vial: ticked("vial"), closing: ticked("closing"),
  };
}
