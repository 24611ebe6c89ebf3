// What the player is given. Beats are quarters as played, from the start of the passage.

export interface TuneNote {
  id: string;
  /** ids of the noteheads on the page */
  heads: string[];
  onset: number;
  beats: number;
  /** sounding MIDI number */
  pitch: number;
}

export interface BandNote {
  part: "bass" | "chords";
  onset: number;
  beats: number;
  pitch: number;
  /** 0..1 */
  level: number;
}

export interface Bar {
  /** as printed */
  label: string;
  /** id of the bar on the page; several bars as played may share it */
  measure: string;
  onset: number;
  beats: number;
  metre: [number, number];
}

export interface Score {
  title: string;
  notes: TuneNote[];
  bars: Bar[];
  band: BandNote[];
  a4Hz: number;
  /** the metronome series */
  marks: number[];
  /** cents away from equal temperament, for each semitone above the tonic */
  tunings: Record<string, number[]>;
  /** a pitch class to begin the drone with */
  tonic: number;
  /** quarters a minute */
  bpm: number;
  /** quarters of one beat of the click */
  unit: number;
}

export interface How {
  /** quarters a minute, at the first time through */
  bpm: number;
  /** bars as played, counted from 0, both included */
  first: number;
  last: number;
  /** times through; 0: until stopped */
  times: number;
  countBars: number;
  /** count in before every time, not only the first */
  countEach: boolean;
  /** quarters of one beat of the click */
  unit: number;
  click: {
    /** which beats of a bar sound; beats beyond the list do */
    beats: boolean[];
    /** only every so many bars */
    every: number;
    /** bars with the click, then bars without; `silent` 0: never without */
    sound: number;
    silent: number;
  };
  /** place of the off-beat eighth in its beat: 0.5 straight, 2/3 as in a triplet */
  swing: number;
  /** faster by one mark after every so many times, up to `to` beats a minute; `every` 0: never */
  ramp: { every: number; to: number };
  voice: string;
  levels: { tune: number; click: number; drone: number; bass: number; chords: number };
  /** semitones above the tonic at which a drone sounds; none: no drone */
  drone: number[];
  tonic: number;
  tuning: string;
}

/** A stretch at one tempo: `from` to `to` beats of the loop, `from` at frame `frame`. */
export interface Segment {
  kind: "count" | "play";
  pass: number;
  frame: number;
  from: number;
  to: number;
  perBeat: number;
  bpm: number;
}

export interface SoundEvent {
  kind: "note" | "click";
  /** beats from the start of the loop; a count-in lies before 0 */
  beat: number;
  beats: number;
  /** of a note */
  pitch: number;
  part: "tune" | "bass" | "chords" | "click";
  level: number;
  id: string;
  /** of a click: bar of the loop and beat of the bar */
  bar: number;
  place: number;
}

export interface Lit {
  id: string;
  heads: string[];
  from: number;
  to: number;
}

export interface Layout {
  /** beats of one time through, and of the count-in before it */
  length: number;
  lead: number;
  /** beats of the passage at which the loop begins */
  start: number;
  bars: number;
  events: SoundEvent[];
  counts: SoundEvent[];
  lit: Lit[];
  /** bars of the page, when each is played */
  places: { measure: string; from: number; to: number }[];
}
