#!/bin/sh
# Set-up waits for another package manager's lock, says so, and gives up in the end.
set -u
cd "$(dirname "$0")/../.." || exit 2
work=$(mktemp -d "${TMPDIR:-/tmp}/spw-setup-test.XXXXXX") || exit 2
trap 'rm -rf "$work"' EXIT
passed=0 failed=0
check() {
    if eval "$2"; then
        passed=$((passed + 1))
    else
        failed=$((failed + 1))
        echo "FAIL $1"
        cat "$work/said"
    fi
}

# A machine on which something is missing, and whose package manager is at work.
mkdir "$work/bin"
cat >"$work/bin/apt-get" <<'END'
#!/bin/sh
echo "$@" >>"$WORK/asked"
[ -e "$WORK/free" ] || { echo 'E: Could not get lock /var/lib/dpkg/lock-frontend. It is held by process 7 (apt)' >&2; exit 100; }
END
printf '#!/bin/sh\ntouch "$WORK/free"\n' >"$work/bin/sleep"
printf '#!/bin/sh\nexit 1\n' >"$work/bin/pkg-config"
printf '#!/bin/sh\n[ "$1" = -n ] && shift\nexec "$@"\n' >"$work/bin/sudo"
chmod +x "$work"/bin/*
run() {
    : >"$work/asked"
    WORK=$work PATH=$work/bin:$PATH LOCK_WAIT_S=$1 tools/setup.sh build >"$work/said" 2>&1
    status=$?
}

run 120
check "a lock that is given up is waited for" '[ $status -eq 0 ]'
check "the wait is said, once" '[ "$(grep -c "another package manager is at work" "$work/said")" -eq 1 ]'
check "then it installs" 'grep -q "install -y" "$work/asked"'
rm -f "$work/free"
printf '#!/bin/sh\nexit 0\n' >"$work/bin/sleep"
run 20
check "a lock that stays ends in a failure" '[ $status -ne 0 ]'
check "and in the package manager's own words" 'grep -q "Could not get lock" "$work/said"'
check "after so many tries" '[ "$(wc -l <"$work/asked")" -eq 5 ]'
printf '#!/bin/sh\necho "E: no such package" >&2\nexit 100\n' >"$work/bin/apt-get"
run 120
check "what is no lock is not waited for" '[ $status -ne 0 ] && ! grep -q "at work" "$work/said"'
echo "$passed passed, $failed failed"
[ "$failed" -eq 0 ]
