#!/usr/bin/env bash
# Compiles in place of rustc: tragus, the targets and what decodes or parses for it count which of their
# branches are taken and check each access to memory (AddressSanitizer). tragus and the targets check
# their arithmetic too. All other crates are those of a usual build, which takes minutes instead of an
# hour.
set -euo pipefail
name=
for ((i = 1; i < $#; i++)); do
  if [ "${!i}" = --crate-name ]; then
    next=$((i + 1))
    name=${!next}
  fi
done
watched=(
  --cfg fuzzing -Ccodegen-units=16 -Cpasses=sancov-module
  -Cllvm-args=-sanitizer-coverage-level=4
  -Cllvm-args=-sanitizer-coverage-inline-8bit-counters
  -Cllvm-args=-sanitizer-coverage-pc-table
  -Cllvm-args=-sanitizer-coverage-trace-compares
  -Zsanitizer=address
)
# What asks for the sanitizer of the stable compiler.
export RUSTC_BOOTSTRAP=1
case $name in
tragus | photo | records | tables | rules | journal | page)
  exec "$@" "${watched[@]}" -Cdebug-assertions
  ;;
image | image_webp | png | tiff | zune_jpeg | zune_core | weezl | fdeflate | miniz_oxide | flate2 | exif | \
  dicom_core | dicom_encoding | dicom_object | dicom_parser | dicom_transfer_syntax_registry | mozjpeg | \
  serde_json | toml | toml_parser | winnow | csv | csv_core | parquet | snap | jiff | base64 | \
  percent_encoding)
  exec "$@" "${watched[@]}"
  ;;
*)
  unset RUSTC_BOOTSTRAP
  exec "$@"
  ;;
esac
