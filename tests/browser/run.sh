#!/usr/bin/env bash
# Runs the browser tests on the built program. TRAGUS names it, CHROMIUM the browser. Where one of
# them, Node or the tests' packages are missing it says so and skips; with
# TRAGUS_BROWSER_REQUIRED=1 that is a failure.
set -euo pipefail
cd "$(dirname "$0")"

lacking() {
  echo "browser tests: $1" >&2
  if [ "${TRAGUS_BROWSER_REQUIRED:-}" = 1 ]; then exit 1; fi
  echo "browser tests: SKIPPED" >&2
  exit 0
}

root=$(cd ../.. && pwd)
case "${TRAGUS:=target/release/tragus}" in /*) ;; *) TRAGUS=$root/$TRAGUS ;; esac
CHROMIUM=${CHROMIUM:-$(command -v chromium || command -v chromium-browser || true)}
export TRAGUS CHROMIUM

command -v node >/dev/null || lacking "Node is missing; install Node 20 or later"
[ "$(node -p 'parseInt(process.versions.node)')" -ge 20 ] || lacking "Node 20 or later is needed, this is $(node --version)"
[ -n "$CHROMIUM" ] || lacking "Chromium is missing; install it, or name it in CHROMIUM"
command -v ffmpeg >/dev/null || lacking "ffmpeg is missing; it makes the clip that stands in for a camera"
[ -d node_modules/playwright-core ] && [ -d node_modules/axe-core ] || lacking "run 'npm ci' in tests/browser first"
[ -x "$TRAGUS" ] || lacking "no program at $TRAGUS; run 'cargo build --release', or name it in TRAGUS"

# One after the other: each starts a program that uses every core.
exec node --test --test-concurrency=1 --test-timeout=300000 "$@" ./*.test.js
