// Short tones for a countdown that can't be watched while standing sideways.

export class Tones {
  beep(pitch, seconds) {
    // Made with the first tone: browsers allow sound only after a press.
    this.sound ??= new AudioContext();
    const { currentTime: now, destination } = this.sound;
    const wave = new OscillatorNode(this.sound, { frequency: pitch });
    const loudness = new GainNode(this.sound, { gain: 0.2 });
    loudness.gain.setValueAtTime(0.2, now + seconds * 0.7);
    loudness.gain.linearRampToValueAtTime(0, now + seconds);
    wave.connect(loudness).connect(destination);
    wave.start(now);
    wave.stop(now + seconds);
  }

  /** Lets the last tone ring out. */
  close() {
    const { sound } = this;
    this.sound = null;
    if (sound) setTimeout(() => sound.close(), 800);
  }
}
