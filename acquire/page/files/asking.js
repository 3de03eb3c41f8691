// Asks the machine that serves this page; a connection that is lost is told apart from a refusal.

const LONGEST_MS = 8000;

export class Lost extends Error {}

/** The answer to one question: its status and what it says. Throws Lost where none came. */
export async function ask(path, body, longest_ms = LONGEST_MS) {
  const given = new AbortController();
  const timer = setTimeout(() => given.abort(), longest_ms);
  const how = body === undefined ? {} : {
    method: "POST", headers: { "Content-Type": "application/json" }, body: JSON.stringify(body),
  };
  try {
    const reply = await fetch(path, { ...how, cache: "no-store", signal: given.signal });
    return { status: reply.status, says: saidIn(await reply.text(), reply.status) };
  } catch (error) {
    throw new Lost(String(error));
  } finally {
    clearTimeout(timer);
  }
}

/** Asks for something to be done; `where` shows words meanwhile, and then why it was not done. */
export async function order(path, body, where, { meanwhile = "", lost = "no connection: try again", longest_ms } = {}) {
  put(where, meanwhile);
  try {
    const { status, says } = await ask(path, body, longest_ms);
    put(where, status === 200 ? "" : says.refused ?? "the link is no longer valid: scan the code again");
  } catch (error) {
    if (!(error instanceof Lost)) throw error;
    put(where, lost);
  }
}

/** What was said; where that is no JSON something went wrong that nobody expected, and it is shown as it is. */
function saidIn(text, status) {
  try {
    return text ? JSON.parse(text) : {};
  } catch {
    return { refused: `the computer answered ${status}: ${text.slice(0, 80)}` };
  }
}

/** Shakes a phone that can, once somebody has touched the page: before, browsers let none. */
export function shake(pattern) {
  if (navigator.userActivation?.hasBeenActive) navigator.vibrate?.(pattern);
}

/** An element by its id. */
export const at = (id) => document.getElementById(id);

/** Text into an element, only where it changes: what is read aloud is not read twice. */
export function put(id, words) {
  const element = at(id);
  if (element.textContent !== words) element.textContent = words ?? "";
}

/** Lines into a list. */
export function list(element, lines) {
  const now = [...element.children].map((each) => each.textContent);
  if (now.length === lines.length && now.every((words, k) => words === lines[k])) return;
  element.replaceChildren(...lines.map((words) => made("li", words)));
}

/** A new element with words in it. */
export function made(kind, words = "", more = {}) {
  const element = document.createElement(kind);
  element.textContent = words;
  return Object.assign(element, more);
}
