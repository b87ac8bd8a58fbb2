#!/bin/sh
# Installs what pip can't bring: system-packages.sh [runtime|tests]. The set-up and the image both run this.
# As root or with sudo it installs what is missing; otherwise it says in one line what to install, and goes on.
set -eu
runtime="python3-venv libpango-1.0-0 libpangoft2-1.0-0 libharfbuzz0b libharfbuzz-subset0 libfontconfig1"
tests="chromium postgresql redis-server poppler-utils git curl nodejs npm"
case "${1:-runtime}" in
  runtime) wanted="$runtime" ;;
  tests) wanted="$runtime $tests" ;;
  *) echo "usage: $0 [runtime|tests]" >&2; exit 2 ;;
esac

there() {
  case "$1" in
    # a Python that did not come from apt brings its own venv
    python3-venv) python3 -c 'import ensurepip, venv' 2>/dev/null ;;
    curl) command -v curl >/dev/null ;;
    nodejs) command -v node >/dev/null ;;
    npm) command -v npm >/dev/null ;;
    *) dpkg-query -W -f '${db:Status-Status}' "$1" 2>/dev/null | grep -qx installed ;;
  esac
}

if ! command -v apt-get >/dev/null 2>&1; then
  echo "system packages: no apt here; what is needed is called on Debian: $wanted" >&2
  exit 0
fi
missing=""
for package in $wanted; do
  there "$package" || missing="$missing $package"
done
[ -z "$missing" ] && exit 0
if [ "$(id -u)" = 0 ]; then
  root=""
elif command -v sudo >/dev/null 2>&1 && sudo -n true 2>/dev/null; then
  root="sudo"
else
  echo "system packages: please install (as root): apt-get install --no-install-recommends$missing" >&2
  exit 0
fi
echo "system packages: installing$missing"
export DEBIAN_FRONTEND=noninteractive
$root apt-get update -qq
# shellcheck disable=SC2086  # the list is meant to be split
$root apt-get install -y -qq --no-install-recommends $missing >/dev/null
