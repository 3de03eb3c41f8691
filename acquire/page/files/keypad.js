// Large keys for one reading, with its unit beside it; a keyboard, or an instrument that types, does as well.

import { at, made } from "./asking.js";

const ROWS = ["7", "8", "9", "⌫", "4", "5", "6", "±", "1", "2", "3", "Clear", "0", ".", "/"];
const NAMES = { "⌫": "delete the last figure", "±": "plus or minus", "/": "the other end of the bubble", ".": "point" };
const MOST = 24;

export class Keypad {
  /** `store` is called with the words typed. */
  constructor(root, store) {
    this.words = "";
    this.run = null;
    this.store = store;
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

  send() {
    if (!/\d/.test(this.words)) return;
    const own = this.units.value === this.run.unit || /[a-zµ"']/i.test(this.words);
    const words = this.words.trim() + (own ? "" : ` ${this.units.value}`);
    this.set("");
    this.store(words);
  }

  show() {
    const signed = this.run?.is_signed && /^[\d.]/.test(this.words) && Number(this.words) !== 0 ? "+" : "";
    const unit = /[a-zµ"']/i.test(this.words) ? "" : this.units.selectedOptions[0]?.textContent ?? "";
    this.shown.replaceChildren(signed + this.words.replaceAll("-", "−") + " ", made("small", unit));
    this.keys.querySelector(".main").disabled = !/\d/.test(this.words);
  }

  typed(event) {
    if (this.root.hidden || at("entry").hidden || event.ctrlKey || event.metaKey || event.altKey) return;
    if (/^(SELECT|INPUT)$/.test(event.target.tagName)) return;
    const isButton = /^(BUTTON|SUMMARY)$/.test(event.target.tagName);
    if (event.key === "Enter" && !isButton) this.send();
    else if (event.key === "Backspace") this.press("⌫");
    else if (event.key.length === 1 && (event.key !== " " || !isButton)) {
      this.set(this.words + (event.key === "−" ? "-" : event.key));
    } else return;
    event.preventDefault();
  }
}
