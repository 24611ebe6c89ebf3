// @ts-check
// The time of day as this page tells it. It never falls: a clock that is set back changes nothing
// while the page is open. It jumps ahead only when the machine slept, since the browser's own
// clock may stand still meanwhile.

const SLEPT_MS = 1000;
const SET_BACK_MS = 366 * 24 * 3600 * 1000; // further ahead, another clock was wrong and not ours set back

/**
 * @param {() => number} wall Unix milliseconds, may jump
 * @param {() => number} steady milliseconds that never jump back
 */
export function clock(wall, steady) {
  let offset = wall() - steady();
  return {
    /** Unix milliseconds. */
    now() {
      const ahead = wall() - (steady() + offset);
      if (ahead > SLEPT_MS) offset += ahead;
      return steady() + offset;
    },
    /** An event is known of this instant: now is not before it, unless that cannot be. */
    notBefore(/** @type {number} */ ms) {
      if (ms - wall() > SET_BACK_MS) return;
      offset += Math.max(0, ms - (steady() + offset));
    },
  };
}

const own = clock(
  () => Date.now(),
  () => performance.now(),
);

export const now = () => Math.round(own.now());
export const notBefore = own.notBefore;
