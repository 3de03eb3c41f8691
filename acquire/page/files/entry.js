// Station by station: what is asked, what is typed, and what became of it. A reading is kept in this
// browser first, then sent, and gone from here only when the machine says that it is on its disk.

import { ask, at, list, Lost, made, order, put, shake } from "./asking.js";
import { Keypad } from "./keypad.js";
import { minus } from "./live.js";
import { newName, Queue, storage } from "./queue.js";

const AGAIN_MS = 2000;
const LONGEST_END_MS = 120000;  // a traverse file is written, read back and held against the other runs
const waiting = new Queue("waylog-reading-", storage());
const refused = new Queue("waylog-refused-", storage());

let run = null;          // as the machine told it last
let slots = [];          // the same, with what waits here laid over it
let extra = [];          // further readings at a station, asked for here
let index = 0;
let isSending = false;
let changed = () => {};
let said = () => {};
let settling = null;
let keypad;
let sure = () => {};

/** `onChange` asks the machine anew, `onConnection` is told how it stands with the connection. */
export function setUpEntry(onChange, onConnection) {
  changed = onChange;
  said = onConnection;
  keypad = new Keypad(at("keypad"), typedBy, (words) => put("entry-refused", words));
  at("back").onclick = () => go(index - 1);
  at("next").onclick = () => go(firstUnread());
  at("again").onclick = again;
  at("gap").onclick = () => type("-");
  at("doubt-again").onclick = () => { at("doubt").dataset.reading = "again"; go(slots.indexOf(doubtful())); };
  at("doubt-keep").onclick = keepDoubtful;
  at("finish").onclick = () => askWhether(finishWords(), "Finish", () => end("finish"));
  at("leave").onclick = () => askWhether(
    "Stop here? What was read stays on the machine’s disk, and the same run goes on from there.", "Stop",
    () => end("leave"));
  at("sure-yes").onclick = () => { at("sure").hidden = true; sure(); };
  at("sure-no").onclick = () => { at("sure").hidden = true; };
  addEventListener("online", send);
  showRefused();
  send();
}

/** What the machine says is under way; null: nothing. */
export function showEntry(told, notes) {
  const isNew = told?.name !== run?.name;
  run = told;
  at("entry").hidden = !run;
  if (!run) return;
  if (isNew) begin();
  list(at("notes"), notes);
  put("profile", run.profile.join("\n"));
  lay();
  if (isNew) go(firstUnread());
  show();
}

function begin() {
  extra = [];
  keypad.begin(run);
  put("entry-head", run.title);
  put("signs", [run.signs, run.worth].filter(Boolean).join("\n"));
  at("drawing").innerHTML = run.drawing ?? "";
  at("section").innerHTML = run.section ?? "";
  at("section").setAttribute("aria-label", `the bed across; read: ${run.subject}`);
  at("drawing").setAttribute("aria-label", `the bed from above; read: ${run.subject}`);
}

const same = (one, other) => one.station_mm === other.station_mm && one.repeat === other.repeat;

/** The machine's slots, further ones asked for here, and over them what waits here. */
function lay() {
  const current = slots[index];
  slots = run.slots.map((slot) => ({ ...slot }));
  extra = extra.filter((slot) => !slots.some((other) => same(slot, other)));
  for (const slot of extra) insert({ ...slot });
  for (const item of waiting.items().filter((each) => each.run === run.name)) {
    if (!slots.some((slot) => same(slot, item))) insert(further(item));
    const slot = slots.find((each) => same(each, item));
    if (slot) Object.assign(slot, { words: item.words, shown: null, doubt: null, waits: true });
  }
  if (current) index = Math.max(0, slots.findIndex((slot) => same(slot, current)));
}

function insert(slot) {
  const here = slots.map((other, k) => (other.station_mm === slot.station_mm ? k : -1)).filter((k) => k >= 0);
  if (here.length) slots.splice(here[here.length - 1] + 1, 0, slot);
}

function further({ station_mm, repeat }) {
  const first = run.slots.find((slot) => slot.station_mm === station_mm);
  return { ...first, station_mm, repeat, words: null, shown: null, doubt: null };
}

const firstUnread = () => {
  const found = slots.findIndex((slot) => slot.words === null);
  return found < 0 ? slots.length : found;
};
const doubtful = () => slots.find((slot) => slot.doubt);

function go(to) {
  index = Math.min(Math.max(0, to), slots.length);
  keypad.set("");
  settle();
  show();
}

/** One more reading at the station that was read last. */
function again() {
  const before = slots[index - 1];
  if (!before || before.words === null) return;
  const repeats = slots.filter((slot) => slot.station_mm === before.station_mm).map((slot) => slot.repeat);
  const slot = further({ station_mm: before.station_mm, repeat: Math.max(...repeats) + 1 });
  extra.push(slot);
  insert({ ...slot });
  go(slots.findIndex((each) => same(each, slot)));
}

/** What the keys, a keyboard or an instrument gave; one whose key is pressed twice reads once more there. */
function typedBy(words, isSecondPress) {
  if (isSecondPress) again();
  type(words);
}

function type(words) {
  const slot = slots[index];
  if (!slot) return;
  waiting.add({
    run: run.name, sent_as: newName(), station_mm: slot.station_mm, repeat: slot.repeat, words,
    before: slot.words, place: slot.place, typed_at: Date.now(),
  });
  delete at("doubt").dataset.reading;
  lay();
  go(firstUnread());
  put("stored", waiting.isKept ? "on this phone; not stored yet …"
    : "this browser keeps nothing: do not close the page before it is stored");
  send();
}

/** Sends what waits, one after the other in the order typed, until nothing does or the connection is lost. */
async function send() {
  if (isSending) return;
  isSending = true;
  try {
    for (let item = waiting.items()[0]; item; item = waiting.items()[0]) {
      if (!await sendOne(item)) break;
    }
  } finally {
    isSending = false;
    tellOfWaiting();
    if (waiting.items().length) setTimeout(send, AGAIN_MS);
  }
}

/** Whether to go on with the next one. */
async function sendOne(item) {
  const age_s = Math.max(0, (Date.now() - item.typed_at) / 1000);
  const { place, typed_at, ...body } = item;
  let reply;
  try {
    reply = await ask("reading", { ...body, age_s });
  } catch (error) {
    if (!(error instanceof Lost)) throw error;
    said("lost");
    return false;
  }
  const { status, says } = reply;
  said(status === 403 ? "shut" : "there");
  if (status === 200) stored(item, says);
  else if (status === 409 || status === 422) refuse(item, says);
  else put("entry-refused", says.refused ?? "");
  return status === 200 || status === 409 || status === 422;
}

function stored(item, says) {
  waiting.remove(item.sent_as);
  put("entry-refused", "");
  put("stored", `stored: ${item.place}: ${minus(says.shown)}`);
  shake(says.doubt ? [200, 100, 200] : 40);
  if (run?.name === item.run) {
    if (!run.slots.some((slot) => same(slot, item))) run.slots = slots.filter((slot) => !slot.waits || same(slot, item));
    const slot = run.slots.find((each) => same(each, item));
    if (slot) Object.assign(slot, { words: says.words, shown: says.shown, doubt: says.doubt, waits: false });
    lay();
    show();
  }
  changed();
}

function refuse(item, says) {
  refused.add({ ...item, why: says.refused, stands: says.stands ?? null });
  waiting.remove(item.sent_as);
  put("stored", "");
  shake([200, 100, 200]);
  showRefused();
  if (run?.name === item.run) {  // back to where it has to be read again
    lay();
    if (!keypad.words) go(slots.findIndex((slot) => same(slot, item)));
  }
  changed();
}

/** What was typed and is not stored, with the reason, until somebody has decided about it. */
function showRefused() {
  const items = refused.items();
  at("refused").hidden = !items.length;
  at("refused").replaceChildren(...items.map((item) => {
    const box = made("div", "", { role: "alert" });
    const why = item.stands === null ? item.why : `${item.stands} was stored there meanwhile`;
    box.append(made("p", minus(`${item.place}: ${item.words} is NOT stored: ${why}`)));
    const drop = () => { refused.remove(item.sent_as); showRefused(); };
    if (item.stands !== null && run?.name === item.run) {
      box.append(made("button", `Store ${minus(item.words)} instead`, { onclick: () => {
        waiting.add({ ...item, why: undefined, stands: undefined, sent_as: newName(), before: item.stands });
        drop();
        send();
      } }));
    }
    box.append(made("button", item.stands === null ? "Seen" : `Keep ${minus(item.stands)}`, { onclick: drop }));
    return box;
  }));
}

function tellOfWaiting() {
  const count = waiting.items().length;
  if (count) put("stored", `${count} reading${count > 1 ? "s wait" : " waits"} on this phone; not stored yet`);
  if (run) { lay(); show(); }
}

async function keepDoubtful() {
  const slot = doubtful();
  await tell("keep", { run: run.name, station_mm: slot.station_mm, repeat: slot.repeat });
}

async function end(how) {
  if (waiting.items().some((item) => item.run === run.name)) {
    put("entry-refused", "readings wait on this phone: not before they are stored");
    return;
  }
  await tell(how, { run: run.name });
}

async function tell(path, body) {
  const meanwhile = path === "finish" ? "the traverse file is being written …" : "";
  await order(path, body, "entry-refused", { meanwhile, longest_ms: LONGEST_END_MS });
  changed();
}

function askWhether(words, yes, then) {
  put("sure-words", words);
  put("sure-yes", yes);
  sure = then;
  at("sure").hidden = false;  // and no focus on it: an instrument's Enter must answer nothing
}

function finishWords() {
  const unread = slots.filter((slot) => slot.words === null).length;
  return unread ? `${unread} station${unread > 1 ? "s are" : " is"} not read. Finish all the same?`
    : "All stations are read. Finish the run?";
}

/** Lets a bubble come to rest: what is left is counted down. */
function settle() {
  clearInterval(settling);
  put("settle", "");
  if (!run?.settle_s || !slots[index]) return;
  const until = Date.now() + 1000 * run.settle_s;
  const tick = () => {
    const left = Math.ceil((until - Date.now()) / 1000);
    put("settle", left > 0 ? `hands off, let it settle: ${left} s` : "read it now");
    if (left <= 0) clearInterval(settling);
  };
  settling = setInterval(tick, 250);
  tick();
}

function show() {
  const inDoubt = at("doubt").dataset.reading === "again" ? undefined : doubtful();
  const slot = inDoubt ?? slots[index];
  put("place", slot ? slot.place : "all read");
  put("count", slot ? `${slots.indexOf(slot) + 1} of ${slots.length}${slot.repeat > 1 ? `, reading ${slot.repeat} here` : ""}` : "");
  put("feet", slot?.feet ? `feet at ${slot.feet}` : "");
  put("last", lastWords(slot));
  at("doubt").hidden = !inDoubt;
  put("doubt-words", inDoubt ? minus(inDoubt.doubt) : "");
  put("doubt-keep", inDoubt ? `Keep ${minus(inDoubt.words)}` : "Keep it");
  at("keypad").hidden = !slot || Boolean(inDoubt);
  at("back").disabled = index === 0;
  at("again").disabled = index === 0 || slots[index - 1].words === null;
  at("gap").disabled = !slot;
  put("gap", slot && slot.words !== null ? "Strike it out" : "Leave a gap");
  showTable(slot);
  mark(slot);
}

function lastWords(slot) {
  if (!slot) return "";
  const now = slot.words === null ? "" : `now ${slot.shown ?? slot.words}; a new one takes its place. `;
  return minus(now + (slot.last ? `check: ${slot.last}` : ""));
}

function showTable(shown) {
  const rows = slots.map((slot, k) => {
    const row = made("tr");
    if (slot === shown) row.setAttribute("aria-current", "true");
    const words = slot.words === null ? "" : slot.waits ? `${slot.words}: not stored yet` : slot.shown;
    row.append(made("td", slot.place + (slot.repeat > 1 ? ` (${slot.repeat})` : "")), made("td", minus(words)));
    return row;
  });
  document.querySelector("#so-far tbody").replaceChildren(...rows);
}

/** Where the feet go now, on the drawing. */
function mark(slot) {
  const svg = at("drawing").querySelector("svg");
  if (!svg || !run.marks) return;
  svg.querySelector(".here")?.remove();
  if (!slot) return;
  const group = document.createElementNS(svg.namespaceURI, "g");
  group.setAttribute("class", "here");
  const x = (mm) => run.marks.left + (mm / run.marks.length_mm) * (run.marks.right - run.marks.left);
  const draw = (kind, values) => {
    const element = document.createElementNS(svg.namespaceURI, kind);
    for (const [name, value] of Object.entries(values)) element.setAttribute(name, value);
    group.append(element);
  };
  const across = run.marks.across, places = slot.feet_mm.length ? slot.feet_mm : [slot.station_mm];
  const ink = { stroke: "var(--other)", "stroke-width": 3, fill: "var(--other)" };
  for (const y of across) {
    if (places.length > 1) draw("line", { x1: x(places[0]), x2: x(places[1]), y1: y, y2: y, ...ink });
    for (const mm of places) draw("circle", { cx: x(mm), cy: y, r: 4.5, ...ink });
  }
  const middle = x(slot.station_mm), joined = [...across, ...run.marks.carriers];
  if (joined.length > 1) {
    draw("line", { x1: middle, x2: middle, y1: Math.min(...joined), y2: Math.max(...joined), ...ink });
  }
  for (const y of run.marks.carriers) draw("rect", { x: middle - 4.5, y: y - 3, width: 9, height: 6, ...ink, fill: "var(--paper)" });
  svg.append(group);
}
