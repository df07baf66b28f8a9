// Takes as they were recorded, played on whole samples.

export const RATE_HZ = 48000;
export const GAP_S = 0.35; // as in `padsweep replay`
const LOUD_S = 0.4; // a sound is as loud as its loudest stretch of this length
const TARGET = 0.12; // RMS that matched sounds have, where their peaks allow it
const CEILING = 10 ** (-1 / 20); // 1 dB below full scale
const MOST_GAIN = 10; // what is all but silent stays so
const KEPT = 60; // decoded takes that are held, some 0.5 MB each
const SOON_S = 0.06;

export class Takes {
  constructor(context, ask = (number) => fetch(`/takes/${number}`)) {
    this.context = context;
    this.ask = ask;
    this.held = new Map();
  }

  // Give a take's samples; it is fetched whole, and its length is what was announced.
  get(number) {
    const there = this.held.get(number);
    this.held.delete(number);
    const take = there ?? this.read(number);
    this.held.set(number, take);
    if (!there) take.catch(() => this.held.delete(number));
    if (this.held.size > KEPT) this.held.delete(this.held.keys().next().value);
    return take;
  }

  async read(number) {
    const answer = await this.ask(number);
    if (!answer.ok) throw new Error(`take ${number} can't be read (${answer.status})`);
    const whole = await answer.arrayBuffer();
    const announced = answer.headers.get("content-length");
    if (announced !== null && Number(announced) !== whole.byteLength) {
      throw new Error(`take ${number} came only in part`);
    }
    return this.context.decodeAudioData(whole);
  }
}

// Give the RMS of the loudest stretch of LOUD_S, full scale 1.
export function loudness(samples, rateHz = RATE_HZ) {
  const length = Math.min(samples.length, Math.round(LOUD_S * rateHz));
  if (!length) return 0;
  let power = 0, most = 0;
  for (let at = 0; at < samples.length; at += 1) {
    power += samples[at] ** 2;
    if (at >= length) power -= samples[at - length] ** 2;
    if (at >= length - 1) most = Math.max(most, power);
  }
  return Math.sqrt(Math.max(0, most) / length);
}

export function peak(samples) {
  let most = 0;
  for (const one of samples) most = Math.max(most, Math.abs(one));
  return most;
}

// Give gains that make sounds equally loud, none beyond full scale. `together`: they share one, so
// that a quieter one stays so.
export function matched(sounds, together = false) {
  const loud = sounds.map((one) => loudness(one));
  const peaks = sounds.map(peak);
  const audible = loud.map((one) => one * MOST_GAIN >= TARGET / 4);
  if (together || audible.includes(false)) {
    const most = Math.max(...loud), top = Math.max(...peaks);
    const gain = most ? Math.min(TARGET / most, MOST_GAIN, CEILING / top) : 1;
    return sounds.map(() => gain);
  }
  const target = Math.min(TARGET, ...loud.map((one) => one * MOST_GAIN),
    ...loud.map((one, at) => CEILING * one / peaks[at]));
  return loud.map((one) => target / one);
}

// Have sounds played one after the other, each from a whole sample on. Gives where each begins and
// where all ends, in samples of the context's time.
export function schedule(context, parts, fromS, gapS = GAP_S) {
  const rate = context.sampleRate;
  let at = Math.ceil(fromS * rate);
  const starts = [], nodes = [];
  for (const [index, { buffer, gain = 1 }] of parts.entries()) {
    if (index) at += Math.round(gapS * rate);
    const source = new AudioBufferSourceNode(context, { buffer });
    const level = new GainNode(context, { gain });
    source.connect(level).connect(context.destination);
    source.start(Math.round(at) / rate);
    nodes.push(source);
    starts.push(at);
    at += buffer.length;
  }
  return { starts, ends: at, nodes };
}

export class Player {
  constructor() {
    this.context = null;
    this.takes = null;
    this.playing = null;
    this.asked = 0;
  }

  // A browser lets sound begin only once somebody has pressed something.
  ready() {
    if (!this.context) {
      this.context = new AudioContext({ sampleRate: RATE_HZ });
      this.takes = new Takes(this.context);
    }
    if (this.context.state === "suspended") this.context.resume();
    return this.context;
  }

  stop() {
    this.asked += 1;
    for (const one of this.playing?.nodes ?? []) one.stop();
    this.playing = null;
  }

  // Play takes; gives what is scheduled, or null where something else was asked for meanwhile. Their
  // levels are those of `pair`, plain and bent, whichever of them are played.
  async play(numbers, { match = true, together = false, pair = numbers } = {}) {
    this.stop();
    const asked = this.asked;
    const context = this.ready();
    const known = [...new Set(pair.filter((one) => one !== null))];
    const sounds = await Promise.all(known.map((one) => this.takes.get(one)));
    if (asked !== this.asked) return null;
    const gains = match ? matched(sounds.map((one) => one.getChannelData(0)), together) : sounds.map(() => 1);
    const parts = numbers.map((one) => ({ buffer: sounds[known.indexOf(one)], gain: gains[known.indexOf(one)] }));
    const plan = schedule(context, parts, context.currentTime + SOON_S);
    this.playing = { ...plan, numbers, lengths: parts.map((one) => one.buffer.length) };
    return this.playing;
  }

  // Say what is heard now: which of the parts, and where in it, s; null where nothing is.
  where() {
    if (!this.playing) return null;
    const at = this.context.currentTime * RATE_HZ;
    if (at > this.playing.ends) return null;
    const { starts, lengths, numbers } = this.playing;
    const part = starts.findLastIndex((one) => one <= at);
    if (part < 0 || at > starts[part] + lengths[part]) return { part: -1, number: null, s: 0 };
    return { part, number: numbers[part], s: (at - starts[part]) / RATE_HZ };
  }
}
