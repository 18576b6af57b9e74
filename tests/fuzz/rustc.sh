#!/usr/bin/env bash
# Compiles in place of rustc: tragus and the targets count which of their branches are taken, and check
# their arithmetic. All other crates are those of a usual build, which takes minutes instead of an hour.
set -euo pipefail
name=
for ((i = 1; i < $#; i++)); do
  if [ "${!i}" = --crate-name ]; then
    next=$((i + 1))
    name=${!next}
  fi
done
case $name in
tragus | photo | records | tables | rules | journal | page)
  exec "$@" --cfg fuzzing -Cdebug-assertions -Ccodegen-units=16 -Cpasses=sancov-module \
    -Cllvm-args=-sanitizer-coverage-level=4 \
    -Cllvm-args=-sanitizer-coverage-inline-8bit-counters \
    -Cllvm-args=-sanitizer-coverage-pc-table \
    -Cllvm-args=-sanitizer-coverage-trace-compares
  ;;
*) exec "$@" ;;
esac
