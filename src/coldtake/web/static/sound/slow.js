// @ts-check
// A recording at 40 to 120 % of its speed, at its own pitch. Played through, the browser's own media
// element stretches it. Between two points the stretch is made once by the server and repeated on
// the audio clock, so that the seam falls on its sample.

/**
 * @typedef {object} Loop seconds of the recording
 * @property {number} from
 * @property {number} to
 */

const AROUND_S = 1; // sound on both sides goes along, for a clean start and end
const LEAST_S = 0.15;
export const LONGEST_S = 60;

export class Slow {
  /** @param {HTMLAudioElement} audio holds the recording and plays it through */
  constructor(audio) {
    this.audio = audio;
    this.speed = 1;
    /** @type {Loop | null} */
    this.loop = null;
    /** @type {AudioContext | null} */
    this.context = null;
    /** @type {{source: string, buffer: AudioBuffer} | null} */
    this.whole = null;
    /** @type {{key: string, buffer: AudioBuffer} | null} */
    this.made = null;
    /** @type {AudioBufferSourceNode | null} */
    this.node = null;
    this.startedAt = 0;
    this.asked = 0; // counts requests, so that only the last one sounds
    this.onChange = () => {};
    /** @type {Blob | null} the recording itself where it is not on the server */
    this.file = null;
    audio.preservesPitch = true;
    audio.addEventListener("play", () => this.passed());
    audio.addEventListener("pause", () => this.onChange());
  }

  get looping() {
    return this.node !== null;
  }

  get playing() {
    return this.looping || !this.audio.paused;
  }

  /** Seconds of the recording that sound now. */
  get position() {
    if (!this.node || !this.context || !this.loop) return this.audio.currentTime;
    const { from, to } = this.loop;
    const gone = Math.max(0, this.context.currentTime - this.startedAt) * this.speed;
    return from + (gone % (to - from));
  }

  /** @param {number} speed 0.4 to 1.2 */
  async setSpeed(speed) {
    this.speed = Math.max(0.4, Math.min(1.2, speed));
    this.audio.playbackRate = this.speed;
    if (this.looping) await this.play();
  }

  /** Points in either order; null: played through. Says what was made of them. */
  async setLoop(/** @type {Loop | null} */ loop) {
    const length = this.audio.duration || 0;
    if (loop) {
      const from = Math.max(0, Math.min(loop.from, loop.to));
      const to = Math.min(length, Math.max(loop.from, loop.to), from + LONGEST_S);
      loop = to - from < LEAST_S ? null : { from, to };
    }
    const was = this.playing;
    this.loop = loop;
    this.onChange();
    if (was) await this.play();
    return loop;
  }

  async toggle() {
    if (this.playing) return this.stop();
    await this.play();
  }

  /** Throws when the sound cannot be made. */
  async play() {
    const asked = ++this.asked;
    if (!this.loop) {
      this.silence();
      await this.audio.play();
      return;
    }
    const buffer = await this.stretched(this.loop);
    if (asked !== this.asked) return;
    this.audio.pause();
    this.silence();
    const context = await this.sound();
    const node = new AudioBufferSourceNode(context, { buffer, loop: true });
    node.connect(context.destination);
    this.startedAt = context.currentTime + 0.02;
    node.start(this.startedAt);
    this.node = node;
    this.onChange();
  }

  stop() {
    this.asked++;
    this.silence();
    this.audio.pause();
    this.onChange();
  }

  silence() {
    this.node?.stop();
    this.node = null;
  }

  /** The media element was started by its own controls: the loop falls silent. */
  passed() {
    this.audio.playbackRate = this.speed;
    if (this.node) this.silence();
    this.onChange();
  }

  async sound() {
    this.context ??= new AudioContext({ latencyHint: "interactive" });
    await this.context.resume();
    return this.context;
  }

  /** The whole recording as samples, read once. */
  async samples() {
    const source = this.audio.currentSrc;
    if (this.whole?.source === source) return this.whole.buffer;
    const context = await this.sound();
    const buffer = await context.decodeAudioData(await this.bytes(source));
    this.whole = { source, buffer };
    return buffer;
  }

  /** @param {string} source */
  async bytes(source) {
    if (this.file) return this.file.arrayBuffer();
    const response = await fetch(source);
    if (!response.ok) throw new Error("no recording");
    return response.arrayBuffer();
  }

  /** @param {Loop} loop @returns {Promise<AudioBuffer>} */
  async stretched({ from, to }) {
    const key = [this.audio.currentSrc, from, to, this.speed].join();
    if (this.made?.key === key) return this.made.buffer;
    const whole = await this.samples();
    const rate = whole.sampleRate;
    const start = Math.max(0, Math.round((from - AROUND_S) * rate));
    const end = Math.min(whole.length, Math.round((to + AROUND_S) * rate));
    const cut = mono(whole).subarray(start, end);
    const first = from - start / rate;
    const last = Math.min(first + to - from, cut.length / rate);
    const query = new URLSearchParams({
      rate: String(rate),
      speed: String(Math.round(this.speed * 1000) / 10),
      first: first.toFixed(5),
      last: last.toFixed(5),
    });
    const response = await fetch(`/slow?${query}`, { method: "POST", body: new Blob([cut.slice()]) });
    if (!response.ok) throw new Error("not stretched");
    const samples = new Float32Array(await response.arrayBuffer());
    const buffer = new AudioBuffer({ length: samples.length, sampleRate: rate, numberOfChannels: 1 });
    buffer.copyToChannel(samples, 0);
    this.made = { key, buffer };
    return buffer;
  }
}

/** @param {AudioBuffer} buffer @returns {Float32Array} */
export function mono(buffer) {
  if (buffer.numberOfChannels === 1) return buffer.getChannelData(0);
  const sum = new Float32Array(buffer.length);
  for (let channel = 0; channel < buffer.numberOfChannels; channel++) {
    buffer.getChannelData(channel).forEach((x, i) => (sum[i] += x / buffer.numberOfChannels));
  }
  return sum;
}
