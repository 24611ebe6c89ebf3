// @ts-check
// Fast Fourier transform, radix 2, in place (J. Cooley and J. Tukey, "An algorithm for the machine
// calculation of complex Fourier series", Math. Comp. 19, 1965). Tables are made once per size.

export class Fft {
  /** @param {number} size a power of two */
  constructor(size) {
    this.size = size;
    this.cos = Float64Array.from({ length: size / 2 }, (_, i) => Math.cos((2 * Math.PI * i) / size));
    this.sin = Float64Array.from({ length: size / 2 }, (_, i) => Math.sin((2 * Math.PI * i) / size));
    const bits = Math.log2(size);
    this.turned = Uint32Array.from({ length: size }, (_, i) => {
      let to = 0;
      for (let b = 0; b < bits; b++) to |= ((i >> b) & 1) << (bits - 1 - b);
      return to;
    });
  }

  /** Transforms in place. @param {Float64Array} re @param {Float64Array} im */
  run(re, im) {
    const { size, turned } = this;
    for (let i = 0; i < size; i++) {
      const j = turned[i];
      if (j <= i) continue;
      [re[i], re[j]] = [re[j], re[i]];
      [im[i], im[j]] = [im[j], im[i]];
    }
    for (let half = 1; half < size; half *= 2) this.pass(re, im, half);
  }

  /** @param {Float64Array} re @param {Float64Array} im @param {number} half */
  pass(re, im, half) {
    const step = this.size / (2 * half);
    for (let start = 0; start < this.size; start += 2 * half) {
      for (let k = 0; k < half; k++) {
        const a = start + k;
        const b = a + half;
        const c = this.cos[k * step];
        const s = this.sin[k * step];
        const x = re[b] * c + im[b] * s;
        const y = im[b] * c - re[b] * s;
        re[b] = re[a] - x;
        im[b] = im[a] - y;
        re[a] += x;
        im[a] += y;
      }
    }
  }
}
