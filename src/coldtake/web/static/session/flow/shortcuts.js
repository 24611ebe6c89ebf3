// @ts-check
// The one table of keys, shown on the page as it stands here. A pedal's two presses are "on" and
// "back"; what they mean depends on the scene, and neither ever ends or answers anything by
// surprise: "on" answers yes only while the page asks.

/**
 * @typedef {object} KeyLine
 * @property {string[]} keys values of KeyboardEvent.key, letters in lower case
 * @property {string} shown how the keys are written for the player
 * @property {string} action
 * @property {string} words
 */

/** @type {readonly KeyLine[]} */
export const KEYS = [
  {
    keys: [" ", "Enter", "PageDown", "ArrowRight", "ArrowDown"],
    shown: "Space, Enter, Page down, →, ↓",
    action: "on",
    words: "Start, record take, end take, continue. When the page asks: yes",
  },
  {
    keys: ["PageUp", "ArrowLeft", "ArrowUp"],
    shown: "Page up, ←, ↑",
    action: "back",
    words: "When the page asks: no. Before an automatic take: not yet",
  },
  { keys: ["y"], shown: "Y", action: "yes", words: "Yes" },
  { keys: ["n"], shown: "N", action: "no", words: "No" },
  { keys: ["c", "?"], shown: "C", action: "cannot_tell", words: "Cannot tell" },
  { keys: ["Backspace", "u"], shown: "Backspace", action: "take_back", words: "Undo answer" },
  { keys: ["m"], shown: "M", action: "move_on", words: "Next slot" },
  { keys: ["s"], shown: "S", action: "spare", words: "Use spare slot" },
  { keys: ["p"], shown: "P", action: "hold", words: "Pause (Space continues)" },
  { keys: ["h"], shown: "H", action: "hear", words: "Play or stop passage, at the click’s tempo" },
  { keys: ["f"], shown: "F", action: "turn", words: "Next page of music" },
  { keys: ["b"], shown: "B", action: "turn_back", words: "Previous page of music" },
  { keys: ["z"], shown: "Z", action: "larger", words: "Music larger" },
  { keys: ["x"], shown: "X", action: "smaller", words: "Music smaller" },
  { keys: ["r"], shown: "R", action: "replay", words: "Play or stop take, from the first marked note" },
  { keys: ["k"], shown: "K", action: "click", words: "Click on or off" },
  { keys: ["+", "="], shown: "+", action: "faster", words: "Click faster" },
  { keys: ["-"], shown: "−", action: "slower", words: "Click slower" },
  { keys: ["d"], shown: "D", action: "stage", words: "Theme: dark or light" },
  { keys: ["e"], shown: "E, then Enter", action: "end", words: "End session" },
  { keys: ["Escape"], shown: "Escape", action: "leave", words: "Close message" },
];

export const plainKey = (/** @type {string} */ key) => (key.length === 1 ? key.toLowerCase() : key);

/**
 * A switch of a pedal learns an action; it forgets what it did before, and the action its old one.
 * @param {ReadonlyMap<string, string>} learnt @param {string} key @param {string} action
 */
export function teach(learnt, key, action) {
  const kept = [...learnt].filter(([k, a]) => k !== plainKey(key) && a !== action);
  return new Map([...kept, [plainKey(key), action]]);
}

const ACTIONS = new Map(KEYS.flatMap((line) => line.keys.map((key) => [key, line.action])));

/**
 * @typedef {object} Pressed
 * @property {string} key
 * @property {boolean} [repeat]
 * @property {boolean} [ctrlKey]
 * @property {boolean} [metaKey]
 * @property {boolean} [altKey]
 */
/**
 * The action of a key, or null. A key that is held down acts once. In a text field only Enter,
 * Escape and a pedal's page keys act; Space acts there while nothing is written.
 * @param {Pressed} pressed
 * @param {{field: boolean, empty: boolean}} at whether a text field has the focus, and is empty
 * @param {ReadonlyMap<string, string>} [learnt] action by key, as taught by the player: it comes first
 * @returns {string | null}
 */
export function actionOf(pressed, at, learnt) {
  if (pressed.repeat || pressed.ctrlKey || pressed.metaKey || pressed.altKey) return null;
  const key = plainKey(pressed.key);
  const own = learnt?.get(key);
  if (own && !(at.field && key.length === 1)) return own;
  if (at.field && !["Enter", "Escape", "PageDown", "PageUp"].includes(key)) {
    return at.empty && key === " " ? "on" : null;
  }
  return ACTIONS.get(key) ?? null;
}
