// @ts-check
// UUIDv7 made in the page (RFC 9562, section 5.7): 48 bits of Unix milliseconds, then random bits.
// Ids of one maker never fall: within a millisecond, or when the clock is set back, the 12 bits
// after the time count up (section 6.2, method 1), so that events of one instant keep their order.

/**
 * @param {number} atMs whole milliseconds since 1970, 0 <= atMs < 2**48
 * @param {number} count 0 <= count < 4096
 * @param {Uint8Array} randomness 8 bytes
 * @returns {string}
 */
export function uuid7(atMs, count, randomness) {
  const hex = (/** @type {number} */ value, /** @type {number} */ digits) =>
    value.toString(16).padStart(digits, "0");
  const time = hex(atMs, 12);
  const tail = [...randomness.slice(0, 8)];
  tail[0] = (tail[0] & 0x3f) | 0x80;
  const rest = tail.map((byte) => hex(byte, 2)).join("");
  return `${time.slice(0, 8)}-${time.slice(8)}-7${hex(count, 3)}-${rest.slice(0, 4)}-${rest.slice(4)}`;
}

const FNV_PRIME = 0x100000001b3n;
const FNV_START = 0xcbf29ce484222325n;

/**
 * The id of what time alone makes happen: every device that knows the same session names it alike,
 * so that two of them that were both on their own give one event, not two. The bits after the time
 * are a count above those of `idMaker` and a hash of the name (FNV-1a, Fowler, Noll and Vo, 64 bits).
 * @param {number} atMs instant of what happened
 * @param {number} rank 0 <= rank < 256, puts in order what happens at one instant
 * @param {string} name
 * @returns {string}
 */
export function namedId(atMs, rank, name) {
  let hash = FNV_START;
  for (const byte of new TextEncoder().encode(name)) {
    hash = ((hash ^ BigInt(byte)) * FNV_PRIME) & 0xffffffffffffffffn;
  }
  const bytes = Uint8Array.from({ length: 8 }, (_, i) => Number((hash >> BigInt(8 * i)) & 0xffn));
  return uuid7(Math.floor(atMs), 0xf00 + rank, bytes);
}

/**
 * @param {() => number} now Unix milliseconds
 * @param {(bytes: Uint8Array<ArrayBuffer>) => Uint8Array} fill puts randomness into the bytes
 * @returns {() => string} a maker of ids in rising order
 */
export function idMaker(now, fill) {
  let last = 0;
  let count = 0;
  return () => {
    const random = fill(new Uint8Array(10));
    const at = Math.floor(now());
    if (at > last) {
      last = at;
      count = ((random[8] << 8) | random[9]) & 0x7ff; // the upper half is room to count
    } else if (++count > 0xfff) {
      last += 1;
      count = 0;
    }
    return uuid7(last, count, random);
  };
}
