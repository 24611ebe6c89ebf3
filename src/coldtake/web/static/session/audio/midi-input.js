// @ts-check
// A MIDI keyboard in place of the microphone: every message with the moment at which it was made
// (Web MIDI API, W3C), kept only while a take runs. It speaks to the take as the recorder does.

const LEVEL_EVERY_MS = 100;
const SOUNDING = 0.3; // the level of a key that is down, for who waits for the end of the music
const NOTE_OFF = 0x80;
const NOTE_ON = 0x90;
const SYSTEM = 0xf0; // clocks and the like say nothing of what is played

/** @typedef {"none" | "asking" | "open" | "denied" | "absent" | "lost"} KeyboardState */
/** @typedef {[number, ...number[]]} Message milliseconds since the take's start, then its bytes */

export const KEYBOARD_WORDS = Object.freeze({
  none: "",
  asking: "Your browser asks for the MIDI keyboard. Allow it.",
  open: "Keyboard ready. It is recorded only during a take.",
  denied: "The keyboard is blocked, or this browser does not support MIDI. Use a microphone.",
  absent: "No MIDI keyboard is connected. Connect it and choose it again.",
  lost: "The keyboard was disconnected. Connect it again, or use a microphone.",
});

export class MidiInput {
  /** @param {(message: any) => void} tell as the recorder tells */
  constructor(tell) {
    this.tell = tell;
    /** @type {KeyboardState} */
    this.state = "none";
    /** @type {MIDIAccess | null} */
    this.access = null;
    /** @type {MIDIInput | null} */
    this.input = null;
    /** @type {Set<number>} */
    this.down = new Set();
    this.fromMs = Infinity;
    this.told = 0;
    this.lostOne = false;
    this.timer = 0;
    this.onChange = () => {};
  }

  get ready() {
    return this.state === "open";
  }

  get recording() {
    return this.fromMs < Infinity;
  }

  get label() {
    return this.input?.name ?? "";
  }

  /** @returns {MIDIInput[]} */
  get inputs() {
    return [...(this.access?.inputs.values() ?? [])].filter((one) => one.state === "connected");
  }

  /** Asks for keyboards and takes one. Never throws. @param {string} id of an input, or any */
  async open(id = "") {
    this.say("asking");
    try {
      this.access ??= await navigator.requestMIDIAccess({ sysex: false });
    } catch {
      return this.say("denied");
    }
    this.access.onstatechange = () => this.changed();
    const input = this.inputs.find((one) => one.id === id) ?? this.inputs[0];
    if (!input) return this.say("absent");
    if (this.input) this.input.onmidimessage = null;
    this.input = input;
    input.onmidimessage = (event) => this.hear(event);
    clearInterval(this.timer);
    this.timer = Number(setInterval(() => this.level(), LEVEL_EVERY_MS));
    this.say("open");
  }

  close() {
    if (this.input) this.input.onmidimessage = null;
    this.input = null;
    clearInterval(this.timer);
    this.say("none");
  }

  /** A keyboard was plugged in or out. */
  changed() {
    if (this.input && this.input.state !== "connected") {
      this.lostOne ||= this.recording;
      this.say("lost");
    } else if (this.input && this.state === "lost") this.say("open");
    this.onChange();
  }

  /** Keeps what is played from a moment of `performance.now()` on. */
  record(/** @type {number} */ fromMs) {
    this.fromMs = fromMs;
    this.told = 0;
    this.lostOne = false;
  }

  stop() {
    this.fromMs = Infinity;
    this.tell({ done: true, holes: this.lostOne ? 1 : 0 });
  }

  hear(/** @type {MIDIMessageEvent} */ { data, timeStamp }) {
    if (!data || data[0] < NOTE_OFF || data[0] >= SYSTEM) return;
    const kind = data[0] & 0xf0;
    if (kind === NOTE_ON && data[2] > 0) this.down.add(data[1]);
    if (kind === NOTE_OFF || (kind === NOTE_ON && data[2] === 0)) this.down.delete(data[1]);
    if (timeStamp < this.fromMs) return;
    const atMs = timeStamp - this.fromMs;
    this.tell({ frame: this.told++, keys: [[atMs, ...data]] });
    if (kind === NOTE_ON) this.level();
  }

  level() {
    const level = this.down.size > 0 ? SOUNDING : 0;
    this.tell({ level, peak: level });
  }

  say(/** @type {KeyboardState} */ state) {
    this.state = state;
    this.onChange();
  }
}
