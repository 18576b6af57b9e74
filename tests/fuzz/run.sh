#!/usr/bin/env bash
# Builds the fuzz targets and runs each for so many seconds: run.sh [SECONDS [TARGET...]]. What is found
# lies in target/found. Needs clang, for the C library that decodes JPEGs.
set -euo pipefail
cd "$(dirname "$0")"
seconds=${1:-600}
targets=("${@:2}")
[ "${#targets[@]}" -gt 0 ] || targets=(photo records tables rules journal page)
# The program's own versions.
cp ../../Cargo.lock .
target=${CARGO_TARGET_DIR:-target}
export CC=clang CFLAGS=-fsanitize=address,fuzzer-no-link RUSTC_WRAPPER=$PWD/rustc.sh
cargo build --release
fixtures=../../fixtures
for name in "${targets[@]}"; do
  case $name in
  photo) seeds=("$fixtures/formats" "$fixtures/cases") ;;
  records) seeds=("$fixtures/records" "$fixtures/demo/screenings") ;;
  tables) seeds=("$fixtures/agreement") ;;
  rules) seeds=(../../src/care) ;;
  *) seeds=("seeds/$name") ;;
  esac
  mkdir -p "$target/corpus/$name" "$target/found/$name"
  "$target/release/$name" -max_total_time="$seconds" -timeout=10 -rss_limit_mb=2048 \
    -print_final_stats=1 -artifact_prefix="$target/found/$name/" \
    "$target/corpus/$name" "${seeds[@]}" 2>&1 | tee "$target/found/$name.log" | grep -a -E '^(==|SUMMARY|stat::|Done|INFO: Loaded)'
done
