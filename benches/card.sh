#!/usr/bin/env bash
# Times a whole card against a full decode of the same JPEGs by libjpeg-turbo's djpeg on the same cores.
#
#   benches/card.sh [FRAMES] [WIDTH_PX] [FOLDER] [NOISE]      for example benches/card.sh 200 6000 /tmp/card-bench 2
#
# Draws FRAMES frames of WIDTH_PX pixels across (the short side is two thirds of it) into FOLDER unless they are there, with
# noise of NOISE stored values added (none unless given; 2 makes files as large as a camera's),
# then prints wall time, processor time and memory of djpeg, sort, merge and strip, and their ratios. Needs djpeg
# (Debian: libjpeg-turbo-progs), GNU time (Debian: time) and the Rust toolchain. The page cache is warm: the card is read once before.
set -euo pipefail
cd "$(dirname "$0")/.."

frames=${1:-200}
width=${2:-6000}
noise=${4:-0}
folder=${3:-"${TMPDIR:-/tmp}/card-bench-$frames-$width-$noise"}
card="$folder/card"
site=(--site -30.03,-70.71,600 --date 2019-07-02)
cores=$(nproc)

cargo build --release --quiet
program=$PWD/target/release/contactstrip
if [ ! -d "$card" ]; then
    cargo bench --quiet --bench card -- "$folder" "$frames" "$width" --noise "$noise"
    rm -rf "$folder/drawn"
fi
find "$card" -name '*.JPG' -exec cat {} + > /dev/null

# Name, wall seconds, processor seconds, largest memory in MB of a command.
timed() {
    local name=$1
    shift
    local log
    log=$(mktemp)
    command time -f '%e %U %S %M' -o "$log" "$@" > /dev/null 2>&1 || true
    tail -1 "$log" | awk -v name="$name" '{ printf "%-8s %8.2f s wall %8.2f s processor %6.0f MB\n", name, $1, $2 + $3, $4 / 1024 }'
    rm -f "$log"
}

decode_all() {
    find "$1" -name '*.JPG' -print0 | xargs -0 -P "$2" -I{} djpeg -outfile /dev/null {}
}
export -f decode_all

echo "$frames frames of $width px across on $cores cores"
djpeg=$(timed djpeg bash -c "decode_all '$card' '$cores'")
echo "$djpeg"
rm -rf "$folder/out"
sort=$(timed sort "$program" sort "$card" -o "$folder/out" "${site[@]}" --quiet)
echo "$sort"
timed again "$program" sort "$card" -o "$folder/out" "${site[@]}" --quiet
timed merge "$program" merge "$folder/out" --no-layers --quiet
timed strip "$program" strip "$folder/out" --quiet
printf '%s\n%s\n' "$djpeg" "$sort" | awk '{ wall[$1] = $2 } END { printf "sort takes %.2f of the wall time of djpeg\n", wall["sort"] / wall["djpeg"] }'
