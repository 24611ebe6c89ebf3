#!/usr/bin/env bash
# What the tests need from the system: Chromium, FluidSynth with a General MIDI bank, PostgreSQL,
# Poppler (to look at printed pages) and Node.js. Installs what is missing through apt where that is
# permitted; otherwise says in one line what to install. With words given, only those are looked at.
set -euo pipefail

declare -A PACKAGE=(
  [chromium]="chromium"
  [fluidsynth]="fluidsynth"
  [bank]="fluid-soundfont-gm"
  [postgres]="postgresql"
  [poppler]="poppler-utils"
  [node]="nodejs npm"
)

present() {
  case "$1" in
    chromium) command -v chromium ;;
    fluidsynth) command -v fluidsynth ;;
    bank) test -e /usr/share/sounds/sf2/FluidR3_GM.sf2 ;;
    postgres) compgen -G "/usr/lib/postgresql/*/bin/postgres" || command -v postgres ;;
    poppler) command -v pdftotext ;;
    node) command -v npm ;;
  esac >/dev/null
}

missing=()
for need in "${@:-chromium fluidsynth bank postgres poppler node}"; do
  for word in $need; do
    present "$word" || missing+=(${PACKAGE[$word]})
  done
done
[ ${#missing[@]} -eq 0 ] && exit 0

apt=(apt-get)
[ "$(id -u)" -eq 0 ] || apt=(sudo -n apt-get)
echo "Installing for the tests: ${missing[*]}"
if command -v apt-get >/dev/null && "${apt[@]}" update -qq &&
  DEBIAN_FRONTEND=noninteractive "${apt[@]}" install -y -qq "${missing[@]}" >/dev/null; then
  exit 0
fi
echo "The tests need: ${missing[*]}. They could not be installed from here;" >&2
echo "install them with your system's package manager and run make test again." >&2
exit 1
