// Spectrograms of a plain and a bent take, computed from the samples that are played.

const SIZE = 1024, LOW_HZ = 100, HIGH_HZ = 12000; // a window of 21 ms; above that toys have little
const RANGE_DB = 70;
const TICKS_HZ = [200, 500, 1000, 2000, 5000, 10000];

const hann = Float64Array.from({ length: SIZE }, (_, at) => 0.5 - 0.5 * Math.cos((2 * Math.PI * at) / SIZE));
const turns = Array.from({ length: Math.log2(SIZE) }, (_, stage) => {
  const half = 2 ** stage;
  return [half, Float64Array.from({ length: half }, (__, at) => Math.cos((Math.PI * at) / half)),
    Float64Array.from({ length: half }, (__, at) => -Math.sin((Math.PI * at) / half))];
});
const places = Uint16Array.from({ length: SIZE }, (_, at) => {
  let from = at, to = 0;
  for (let bit = 1; bit < SIZE; bit *= 2) {
    to = to * 2 + (from % 2);
    from = Math.floor(from / 2);
  }
  return to;
});

// Give the powers of a window's frequencies, from 0 to half the rate: a radix-2 FFT in place.
export function powers(samples, from, re = new Float64Array(SIZE), im = new Float64Array(SIZE)) {
  for (let at = 0; at < SIZE; at += 1) {
    re[places[at]] = (samples[from + at] ?? 0) * hann[at];
    im[at] = 0;
  }
  for (const [half, cos, sin] of turns) {
    for (let block = 0; block < SIZE; block += 2 * half) {
      for (let at = 0; at < half; at += 1) {
        const one = block + at, other = one + half;
        const turnedRe = re[other] * cos[at] - im[other] * sin[at];
        const turnedIm = re[other] * sin[at] + im[other] * cos[at];
        re[other] = re[one] - turnedRe;
        im[other] = im[one] - turnedIm;
        re[one] += turnedRe;
        im[one] += turnedIm;
      }
    }
  }
  const told = new Float32Array(SIZE / 2 + 1);
  for (let at = 0; at <= SIZE / 2; at += 1) told[at] = re[at] ** 2 + im[at] ** 2;
  return told;
}

// Give the levels of a sound, dB, row by row from the highest frequency down; -Infinity behind its end.
export function levels(samples, rateHz, length, columns, rows) {
  const told = new Float32Array(columns * rows).fill(-Infinity);
  const re = new Float64Array(SIZE), im = new Float64Array(SIZE);
  const bins = Array.from({ length: rows + 1 }, (_, row) => (
    (LOW_HZ * (HIGH_HZ / LOW_HZ) ** (1 - row / rows)) * SIZE) / rateHz);
  for (let column = 0; column < columns; column += 1) {
    const from = Math.round((column / columns) * length);
    if (from >= samples.length) break;
    const heard = powers(samples, from, re, im);
    for (let row = 0; row < rows; row += 1) { // of the bins between two edges the loudest
      let most = 0;
      for (let bin = Math.floor(bins[row + 1]); bin <= Math.max(Math.floor(bins[row + 1]), Math.floor(bins[row])); bin += 1) {
        most = Math.max(most, heard[bin]);
      }
      told[row * columns + column] = 10 * Math.log10(most + 1e-12);
    }
  }
  return told;
}

// Draw plain above and bent below, over one time and one scale of levels; gives how long that took, ms.
export function draw(canvas, plain, bent, rateHz, closed) {
  const begun = performance.now();
  const ratio = window.devicePixelRatio || 1;
  const width = Math.round(canvas.clientWidth * ratio), height = Math.round(canvas.clientHeight * ratio);
  if (!width || !height) return 0;
  Object.assign(canvas, { width, height });
  const pen = canvas.getContext("2d"), style = getComputedStyle(canvas);
  const colour = (name) => style.getPropertyValue(name).trim();
  const sounds = [plain, bent].filter(Boolean);
  const gap = Math.round(4 * ratio), each = Math.floor((height - gap * (sounds.length - 1)) / sounds.length);
  const length = Math.max(...sounds.map((one) => one.length));
  const columns = Math.min(360, width), rows = Math.min(72, each);
  const told = sounds.map((one) => levels(one, rateHz, length, columns, rows));
  let top = -Infinity;
  for (const one of told) for (const level of one) if (level > top) top = level;
  const [ground, ink] = [colour("--panel"), colour("--ink")].map(parts);
  pen.imageSmoothingEnabled = false;
  told.forEach((one, index) => {
    const image = new ImageData(columns, rows);
    one.forEach((level, at) => {
      const share = Math.max(0, 1 + (level - top) / RANGE_DB) ** 1.5;
      for (let part = 0; part < 3; part += 1) {
        image.data[4 * at + part] = ground[part] + share * (ink[part] - ground[part]);
      }
      image.data[4 * at + 3] = 255;
    });
    const small = new OffscreenCanvas(columns, rows);
    small.getContext("2d").putImageData(image, 0, 0);
    pen.drawImage(small, 0, index * (each + gap), width, each);
  });
  pen.fillStyle = pen.strokeStyle = colour("--land");
  pen.font = `${10 * ratio}px system-ui, sans-serif`;
  sounds.forEach((one, index) => {
    for (const hz of TICKS_HZ) {
      const y = index * (each + gap) + each * (1 - Math.log(hz / LOW_HZ) / Math.log(HIGH_HZ / LOW_HZ));
      pen.fillRect(0, y, 5 * ratio, ratio);
      if (hz === 1000 || hz === 200 || hz === 5000) pen.fillText(hz < 1000 ? `${hz} Hz` : `${hz / 1000} kHz`, 7 * ratio, y + 3 * ratio);
    }
  });
  if (closed && bent) { // so long the pads were joined
    pen.fillRect((closed[0] / length) * width, height - 3 * ratio, ((closed[1] - closed[0]) / length) * width, 3 * ratio);
  }
  return performance.now() - begun;
}

// A colour of the style sheet, #rrggbb, as numbers.
function parts(colour) {
  return [1, 3, 5].map((at) => parseInt(colour.slice(at, at + 2), 16));
}
