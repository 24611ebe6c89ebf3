// What the browser's own type libraries do not say: the scope of an audio worklet.

declare abstract class AudioWorkletProcessor {
  readonly port: MessagePort;
  constructor(options?: AudioWorkletNodeOptions);
  abstract process(
    inputs: Float32Array[][],
    outputs: Float32Array[][],
    parameters: Record<string, Float32Array>,
  ): boolean;
}
declare function registerProcessor(
  name: string,
  processor: new (options: AudioWorkletNodeOptions) => AudioWorkletProcessor,
): void;
/** Frame at the start of the block being rendered. */
declare const currentFrame: number;
/** Frames a second. */
declare const sampleRate: number;
