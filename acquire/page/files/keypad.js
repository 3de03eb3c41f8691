// Large keys for one reading, with its unit beside it; a keyboard, or an instrument that types, does as well.
// What comes faster than any hand types is an instrument's; how fast that is the machine says, as at its prompt.

import { at, made } from "./asking.js";

const ROWS = ["7", "8", "9", "⌫", "4", "5", "6", "±", "1", "2", "3", "Clear", "0", ".", "/"];
const NAMES = { "⌫": "delete the last figure", "±": "plus or minus", "/": "the other end of the bubble", ".": "point" };
const MOST = 24;

export class Keypad {
  /** `store` is called with the words typed and whether an instrument's key was pressed twice; `refuse` with
   *  what to say of words that came while a question stands. */
  constructor(root, store, refuse) {
    this.words = "";
    this.run = null;
    this.store = store;
    this.refuse = refuse;
    this.times_ms = [];  // of the keys struck since the last reading
    this.burst_end_ms = -Infinity;
    this.root = root;
    this.shown = made("output", "", { id: "typed" });
    this.units = made("select", "", { id: "unit" });
    const unit = made("div", "", { className: "unit" });
    unit.append(made("label", "unit", { htmlFor: "unit" }), this.units);
    this.keys = made("div", "", { className: "keys" });
    this.keys.append(...ROWS.map((key) => this.button(key, key.length > 1 ? "word" : "")), this.button("Store", "main"));
    root.append(this.shown, this.keys, unit);
    this.units.addEventListener("change", () => this.show());
    document.addEventListener("keydown", (event) => this.typed(event));
  }

  button(key, kind = "") {
    const made_ = made("button", key, { type: "button", className: kind });
    if (NAMES[key]) made_.setAttribute("aria-label", NAMES[key]);
    made_.dataset.key = key;
    made_.addEventListener("pointerdown", (event) => event.preventDefault());  // no focus: Enter stays Store
    made_.addEventListener("click", () => this.press(key));
    return made_;
  }

  /** For which run readings are typed. */
  begin(run) {
    if (this.run?.name === run.name) return;
    this.run = run;
    this.words = "";
    this.units.replaceChildren(...run.units.map((each) => made("option", each.shown, { value: each.unit })));
    this.units.value = run.unit;
    this.keys.classList.toggle("vial", run.vial);
    this.show();
  }

  press(key) {
    const acts = {
      "⌫": () => this.set(this.words.replace(/ \/ $|.$/u, "")),
      "±": () => this.turn(),
      "Clear": () => this.set(""),
      "/": () => { if (/\d$/.test(this.words) && !this.words.includes("/")) this.set(`${this.words} / `); },
      "Store": () => this.send(),
      ".": () => { if (!/\.\d*$/.test(this.words)) this.set(`${this.words}.`); },
    };
    (acts[key] ?? (() => this.set(this.words + key)))();
  }

  /** The last number's sign changes: of a bubble each end has its own. */
  turn() {
    const [, before, last] = this.words.match(/^(.* \/ )?(.*)$/u);
    this.set((before ?? "") + (last.startsWith("-") ? last.slice(1) : `-${last}`));
  }

  set(words) {
    this.words = words.slice(0, MOST);
    this.show();
  }

  send(isSecondPress = false) {
    if (!/\d/.test(this.words)) return;
    if (this.run.vial && !/\d\s*[/ ]\s*[-+.\d]/.test(this.words)) {  // as at the prompt: and its other end
      this.set(this.words.replace(/[ /]*$/, " / "));
      return;
    }
    const own = this.units.value === this.run.unit || /[a-zµ"']/i.test(this.words);
    const words = this.words.trim() + (own ? "" : ` ${this.units.value}`);
    this.set("");
    this.store(words, isSecondPress);
  }

  /** At Enter: whether it all came at once, and so soon after the last such reading that nothing was moved. */
  isSecondPress(now_ms) {
    const { at_once_s, goes_on_s, second_press_s } = this.run.typing;
    const first_ms = this.times_ms[0] ?? now_ms;
    const isBurst = this.times_ms.length > 1 && now_ms - first_ms < 1000 * at_once_s * this.times_ms.length;
    const after_s = (first_ms - this.burst_end_ms) / 1000;
    this.times_ms = [];
    this.burst_end_ms = isBurst ? now_ms : -Infinity;
    return isBurst && goes_on_s <= after_s && after_s < second_press_s;
  }

  show() {
    const signed = this.run?.is_signed && /^[\d.]/.test(this.words) && Number(this.words) !== 0 ? "+" : "";
    const unit = /[a-zµ"']/i.test(this.words) ? "" : this.units.selectedOptions[0]?.textContent ?? "";
    this.shown.replaceChildren(signed + this.words.replaceAll("-", "−") + " ", made("small", unit));
    this.keys.querySelector(".main").disabled = !/\d/.test(this.words);
  }

  typed(event) {
    if (at("entry").hidden || event.ctrlKey || event.metaKey || event.altKey) return;
    if (/^(SELECT|INPUT)$/.test(event.target.tagName)) return;
    const isButton = /^(BUTTON|SUMMARY)$/.test(event.target.tagName);
    const isFigure = event.key.length === 1 && (event.key !== " " || !isButton);
    if (this.root.hidden) {
      if (isFigure) this.refuse("what is typed while a question stands is not taken");
      return;
    }
    if (event.key === "Enter" && (this.words || !isButton)) this.send(this.isSecondPress(event.timeStamp));
    else if (event.key === "Backspace") this.press("⌫");
    else if (isFigure) this.figure(event);
    else return;
    event.preventDefault();
  }

  figure(event) {
    this.times_ms.push(event.timeStamp);
    this.set(this.words + (event.key === "−" ? "-" : event.key));
  }
}
