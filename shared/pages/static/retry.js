// The pause between tries to send: it doubles from the first to the longest, and begins again after a success.
export const growingPause = (first_ms, longest_ms) => {
  let pause = first_ms;
  return {
    next() {
      const now = pause;
      pause = Math.min(2 * pause, longest_ms);
      return now;
    },
    reset() { pause = first_ms; },
  };
};
