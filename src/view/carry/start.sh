#!/bin/sh
# Starts beforedoors from this folder. All that it keeps stays in this folder.
here=$(CDPATH= cd -- "$(dirname -- "$0")" && pwd) || exit 3
if [ "$(uname -s)" != Linux ] || [ "$(uname -m)" != @MACHINE@ ]; then
    echo "This copy needs another machine: Linux on @MACHINE@." >&2
    exit 3
fi
export BEFOREDOORS_SETTINGS="$here/beforedoors-settings"
# Graphics drivers would keep files with the person.
export MESA_SHADER_CACHE_DISABLE=true

program=$here/beforedoors
copy=
if ! "$program" --version >/dev/null 2>&1; then
    # Many sticks forbid programs: a copy, where the laptop allows them.
    for place in "$XDG_RUNTIME_DIR" "$TMPDIR" /tmp /var/tmp /dev/shm; do
        [ -n "$place" ] && copy=$(mktemp -d "$place/beforedoors.XXXXXX" 2>/dev/null) || continue
        cp "$here/beforedoors" "$copy/beforedoors" && chmod 700 "$copy/beforedoors"
        "$copy/beforedoors" --version >/dev/null 2>&1 && break
        rm -rf "$copy"
        copy=
    done
    if [ -n "$copy" ]; then
        program=$copy/beforedoors
        trap 'rm -rf "$copy"' EXIT
        trap : HUP INT TERM
    else
        "$program" --version
        echo "The program does not start here; read-me.txt says what may be wrong." >&2
        exit 3
    fi
fi

# The first time, on the example.
if [ $# -eq 0 ] && [ ! -e "$BEFOREDOORS_SETTINGS/recent.json" ]; then
    cd "$here/example" || exit 3
fi
"$program" "$@"
