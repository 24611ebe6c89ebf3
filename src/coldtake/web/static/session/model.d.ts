// The records of a session as they travel between server, page and browser store.
// Instants are ISO 8601 text in events and Unix milliseconds (`...Ms`) in the page's own state.

export type Answer = "yes" | "no" | "cannot_tell";

export interface Slot {
  id: string;
  step_id: string;
  topic_id: string;
  kind: "cold" | "work";
  minutes: number;
  question: string;
  goal: string;
  reason: string;
  gain?: number;
  pinned?: boolean;
}

export interface Plan {
  id: string;
  request: { day: string; starts_at: string; starts_on?: string | null; minutes: number };
  rules: { break_min: number; slot_least_min: number; slot_most_min: number; cold_min: number };
  periods: { slots: Slot[] }[];
  spare: Slot[];
  left_out: { step_id: string; topic_id: string; reason: string }[];
  remarks: string[];
  /** A run-through before the slots, on a page of its own. */
  run?: { performance_id: string; topic_ids: string[]; minutes: number; reason: string } | null;
}

/** What stays of a plan that is begun late (the server's `planning.day.late_start`). */
export interface LateStarts {
  /** Minutes of each slot in playing order, 0 where it is left out; ascending by minutes left. */
  rows: { minutes_left: number; minutes: number[] }[];
  /** Places of the slots by worth. */
  best_first: number[];
}

/** What an event says; `kind` names it (the server's `domain.events`). */
export type Data =
  | { kind: "session_started"; session_id: string; plan: Plan }
  | { kind: "intention_set"; session_id: string; slot_id: string | null; words: string }
  | { kind: "slot_started"; session_id: string; slot_id: string; step_id: string; planned_s: number }
  | {
      kind: "slot_ended";
      session_id: string;
      slot_id: string;
      step_id: string;
      played_s: number;
      early: boolean;
    }
  | { kind: "slot_added"; session_id: string; slot: Slot }
  | { kind: "break_started"; session_id: string; after_period: number; planned_s: number }
  | { kind: "break_ended"; session_id: string; after_period: number }
  | {
      kind: "try_answered";
      try_id: string;
      step_id: string;
      answer: Answer;
      judge: "player" | "tool";
      session_id?: string | null;
      slot_id?: string | null;
      take_id?: string | null;
      tempo_bpm?: number | null;
    }
  | { kind: "answer_taken_back"; try_id: string }
  | { kind: "take_judged"; take_id: string; verdict: Verdict }
  | { kind: "session_ended"; session_id: string; note: string; early: boolean };

export interface Event {
  id: string;
  at: string;
  day: string;
  data: Data;
}

/** Something that should be written down as having happened at `atMs`. */
export interface Happening {
  atMs: number;
  data: Data;
  /** Time alone made it: any device that knows the session would say the same. */
  byTime?: boolean;
}

export interface Verdict {
  answer: Answer;
  reason: string;
  remedy: string;
  tempo_bpm: number | null;
}

export interface SlotRun {
  slotId: string;
  stepId: string;
  startedMs: number;
  plannedS: number;
  endedMs: number | null;
  playedS: number;
  early: boolean;
}

export interface BreakRun {
  afterPeriod: number;
  startedMs: number;
  plannedS: number;
  endedMs: number | null;
}

export interface TryMade {
  id: string;
  stepId: string;
  slotId: string | null;
  takeId: string | null;
  answer: Answer;
  judge: "player" | "tool";
  /** What the tool said when the player answered the same try. */
  heard: Answer | null;
  atMs: number;
}

/** A slot in playing order; `period` counts from 0; `added` when it was taken in as a spare. */
export interface Place {
  slot: Slot;
  period: number;
  added: boolean;
}

export interface Session {
  id: string;
  day: string;
  plan: Plan;
  startedMs: number;
  endedMs: number | null;
  early: boolean;
  note: string;
  places: Place[];
  intentions: Map<string, { words: string; atMs: number }>;
  runs: SlotRun[];
  breaks: BreakRun[];
  tries: TryMade[];
  verdicts: Map<string, Verdict>;
}

export interface Settings {
  quiet_seconds: number;
  click_volume: number;
  a4_hz: number;
  /** 1: takes start by themselves; 0: by the player's key. */
  takes_alone: number;
}

/** What the page must know of a step, besides its slot. */
export interface StepInfo {
  title: string;
  topic_title: string;
  question: string;
  words: string;
  /** The words are the tempi from the clean one to the target. */
  way?: boolean;
  key: string;
  times: { wanted: number; among: number | null };
  /** Answers before this session, oldest first, "cannot tell" left out. */
  answers_before: boolean[];
  /** What the next cold take will mean, by its answer. */
  after_cold?: { yes: string; no: string };
  /** The tempo in the notation, where it is another than the one asked for. */
  written?: string;
  /** How lucky a pass would be after 1, 2, ... tries in this session; empty once it is met. */
  lucky?: string[];
  /** The tool can hear at least one test and has a passage to hear it against. */
  heard: boolean;
  /** Some test can only be answered by the player. */
  player_tests: boolean;
  tempo_bpm: number | null;
  begin_bpm?: number | null;
  click: {
    beat_unit_beats: number;
    beats_per_bar: number;
    count_in_bars: number;
    on: boolean;
    on_beats: number[];
    bars_on: number;
    bars_off: number;
  };
  notation: string | null;
  /** The notation is a picture of a page: nothing can be played from it, or judged by it. */
  picture?: boolean;
  passage_beats: number | null;
  pickup_beats: number;
  longest_rest_beats: number;
}

/** What decides the practice day of an instant (the server's `domain.days`). */
export interface DaysNear {
  /** When the player did the last thing of a day. */
  acted: Record<string, string>;
  /** Start and end of a day's plan by the wall clock. */
  planned: Record<string, [string, string]>;
  /** So long a pause ends an evening. */
  pause_s: number;
  /** What lies further after now was said by a wrong clock. */
  ahead_s: number;
}

/** Answer of `GET /api/session`. */
export interface Snapshot {
  day: string;
  /** Older stores lack it. */
  days?: DaysNear;
  session: { id: string; day: string; started_at: string; ended_at: string | null } | null;
  plan: Plan | null;
  /** How far the server's log had been read. */
  seen: number;
  /** Today's plan, also while a session runs with an older copy. */
  next_plan: Plan | null;
  /** What stays of the plan to begin when it is begun late; older stores lack it. */
  late?: LateStarts | null;
  steps: Record<string, StepInfo>;
  settings: Settings;
  events: Event[];
  /** Ids of events that follow under other ids, with their right day, or do not count. */
  settled?: string[];
}

/** What the player sees now. Deadlines in Unix milliseconds; null where nothing ends by itself. */
export type Scene =
  | { screen: "start" }
  | { screen: "intention"; place: Place | null; sinceMs: number; endsMs: number | null }
  | { screen: "quiet"; sinceMs: number; endsMs: number }
  | { screen: "slot"; place: Place; run: SlotRun; endsMs: number; coldDone: boolean }
  | { screen: "break"; run: BreakRun; endsMs: number }
  | {
      screen: "between";
      next: Place | null;
      rest: Place | null;
      restS: number;
      sinceMs: number;
      /** Goes on by itself at once; false when the player stopped or was away. */
      auto: boolean;
    }
  | { screen: "end" };

/** What decides the scene besides the events and the time. */
export interface Context {
  quietS: number;
  /** When the page first saw the one answer of the open cold slot. */
  coldSinceMs: number | null;
  /** Last letter written into the open intention; 0 when nothing stands there. */
  typedMs: number;
  /** The player stopped the clock on purpose. */
  held: boolean;
  /** A take runs or its answer is awaited: the slot's end waits for it. */
  busy: boolean;
  /** When the last take was done with. */
  freeSinceMs: number;
}
