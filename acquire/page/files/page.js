// Puts the page together: what is under way is asked for again and again, and shown where it belongs.

import { ask, at, list, made, order, put } from "./asking.js";
import { setUpBegin, showBegin } from "./begin.js";
import { setUpEntry, showEntry } from "./entry.js";
import { minus, watch } from "./live.js";

const EVERY_MS = 4000;
const CONNECTION = {
  there: "connected",
  lost: "NO CONNECTION: what you type waits on this phone",
  shut: "this link is no longer valid: scan the new code; what waits here is sent then",
};
let timer = null;
let cautioned = "";

function connection(how) {
  put("connection", CONNECTION[how]);
  at("connection").className = how === "there" ? "" : "lost";
}

async function look() {
  clearTimeout(timer);
  timer = setTimeout(look, EVERY_MS);
  try {
    const { status, says } = await ask("state");
    connection(status === 403 ? "shut" : "there");
    if (status === 200) show(says);
  } catch {
    connection("lost");
  }
}

function show(state) {
  put("bed", state.bed);
  document.title = `${state.bed} – waylog`;
  showCautions(state.cautions);
  at("begin").hidden = Boolean(state.run);
  if (state.choices) showBegin(state.choices);
  showEntry(state.run, state.notes);
  const ended = state.run ? null : state.ended;
  at("ended").hidden = !ended;
  if (!ended) return;
  at("ended").querySelector("h2").textContent = `Run ${ended.number} is a traverse now: ${ended.file}`;
  list(at("ended").querySelector("ul"), ended.lines.map(minus));
  showQuestions(ended.questions);
}

/** What would mend a run that the others contradict: a person says whether it was so. */
function showQuestions(questions) {
  const box = at("ended-questions");
  if (questions.join() === box.dataset.shown) return;
  box.dataset.shown = questions.join();
  box.replaceChildren(...questions.map((question) =>
    made("button", `${question} – yes, mend it`, { onclick: () => mend(question) })));
}

async function mend(question) {
  await order("mend", { question }, "ended-refused");
  look();
}

/** The same words as at a prompt; two lines of one caution are one here. */
function showCautions(lines) {
  const words = lines.join(" ").replace(/\s+/g, " ");
  if (words === cautioned) return;
  cautioned = words;
  list(at("cautions").querySelector("ul"), [words.replace(/^caution: /, "")]);
}

/** Open at first; once seen they fold, and stay at hand. */
at("cautions-seen").onclick = () => { at("cautions").open = false; };

// Where there is room all is open from the start.
if (matchMedia("(min-width: 44rem)").matches) {
  for (const id of ["stands", "so-far"]) at(id).open = true;
}

setUpBegin(look);
setUpEntry(look, connection);
look();
watch();
