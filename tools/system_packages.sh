#!/bin/sh
# What the tests use beside Python: PortAudio, a virtual sound card and a browser. Installs it where it may, says what is skipped where not.
set -u
PACKAGES="libportaudio2 pulseaudio pulseaudio-utils libasound2-plugins chromium"

there() { ldconfig -p 2>/dev/null | grep -q libportaudio && command -v pulseaudio >/dev/null && command -v pactl >/dev/null && command -v chromium >/dev/null; }
skipped() { echo "Skipping the tests with a sound card and with a browser: $1. To run them, install: $PACKAGES" >&2; }

if there; then exit 0; fi
if ! command -v apt-get >/dev/null; then skipped "this system has no apt-get"; exit 0; fi
if [ "$(id -u)" = 0 ]; then AS_ROOT=""
elif sudo -n true 2>/dev/null; then AS_ROOT="sudo -n"
else skipped "installing needs root"; exit 0; fi

export DEBIAN_FRONTEND=noninteractive
# shellcheck disable=SC2086 # words, not one word
{ $AS_ROOT apt-get install -y -qq --no-install-recommends $PACKAGES ||
  { $AS_ROOT apt-get update -qq && $AS_ROOT apt-get install -y -qq --no-install-recommends $PACKAGES; }; } >/dev/null 2>&1
there || skipped "apt-get could not install them"
exit 0
