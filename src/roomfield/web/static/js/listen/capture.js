// Runs on the audio thread: passes samples on in chunks of a tenth of a second.
class Capture extends AudioWorkletProcessor {
  constructor() {
    super();
    this.size = Math.round(sampleRate / 10);
    this.chunk = new Float32Array(this.size);
    this.filled = 0;
  }

  process(inputs) {
    const samples = inputs[0][0];
    if (!samples) return true;
    for (let i = 0; i < samples.length; i += 1) {
      this.chunk[this.filled] = samples[i];
      this.filled += 1;
      if (this.filled === this.size) {
        this.port.postMessage(this.chunk, [this.chunk.buffer]);
        this.chunk = new Float32Array(this.size);
        this.filled = 0;
      }
    }
    return true;
  }
}
registerProcessor("capture", Capture);
