// Readings that the machine has not yet said to be on its disk. Each lies in this browser's storage under
// a key of its own, so that two pages open on one phone never write over each other's.

export class Queue {
  constructor(prefix, storage) {
    this.prefix = prefix;
    this.storage = storage;
    this.isKept = true;  // whether a reload of the page finds them again
    this.held = new Map();
    this.latest = 0;
  }

  /** Keeps one; its place in the order is behind all that are there. */
  add(item) {
    const keys = this.keys();
    const last = keys.length ? Number(keys[keys.length - 1].slice(this.prefix.length)) : 0;
    this.latest = Math.max(Date.now(), last + 1, this.latest + 1);
    const key = this.prefix + String(this.latest).padStart(16, "0");
    try {
      this.storage.setItem(key, JSON.stringify(item));
    } catch {
      this.isKept = false;
      this.held.set(key, item);
    }
  }

  /** All of them, the first typed first. */
  items() {
    return this.keys().map((key) => this.get(key)).filter((item) => item !== null);
  }

  remove(sent_as) {
    for (const key of this.keys()) {
      if (this.get(key)?.sent_as !== sent_as) continue;
      this.held.delete(key);
      try { this.storage.removeItem(key); } catch { /* it is sent once more then, and known by its name */ }
    }
  }

  get(key) {
    if (this.held.has(key)) return this.held.get(key);
    try { return JSON.parse(this.storage.getItem(key)); } catch { return null; }
  }

  keys() {
    const found = [...this.held.keys()];
    try {
      for (let k = 0; k < this.storage.length; k++) found.push(this.storage.key(k));
    } catch {
      this.isKept = false;
    }
    return found.filter((key) => key.startsWith(this.prefix)).sort();
  }
}

/** The storage of this browser, or one that forgets where there is none. */
export function storage() {
  try {
    return window.localStorage;
  } catch {
    const none = () => { throw new Error("no storage"); };
    return { length: 0, key: none, getItem: none, setItem: none, removeItem: none };
  }
}

/** A name for a reading, never drawn twice. (randomUUID is not given to pages without https.) */
export function newName() {
  const bytes = crypto.getRandomValues(new Uint8Array(16));
  return [...bytes].map((byte) => byte.toString(16).padStart(2, "0")).join("");
}
