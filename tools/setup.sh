#!/bin/sh
# Checks that everything a build needs is there; installs what is missing on
# Debian (as root or through sudo), otherwise names it for three systems.
#
#   tools/setup.sh [build|test|page|lint|fuzz|coverage|valgrind|bench|portable]...     default: build
set -eu

[ $# -gt 0 ] || set -- build
missing=''
debian='' fedora='' homebrew=''

# need LABEL PRESENT DEBIAN FEDORA HOMEBREW
need() {
    [ "$2" = yes ] && return 0
    missing="$missing $1"
    debian="$debian $3"
    fedora="$fedora $4"
    homebrew="$homebrew $5"
}
command_there() { if command -v "$1" >/dev/null 2>&1; then echo yes; else echo no; fi; }
module_there() {
    if command -v pkg-config >/dev/null 2>&1 && pkg-config --exists "$1"; then echo yes; else echo no; fi
}

# Debian's compilers come without the C library's headers.
headers_there() {
    if echo '#include <stdio.h>' | "${CC:-cc}" -E -x c - >/dev/null 2>&1; then echo yes; else echo no; fi
}

# What locales are made from, for the tests under other ones.
locales_there() {
    if [ -e /usr/share/i18n/locales/tr_TR ] || locale -a 2>/dev/null | grep -q '^tr_TR'; then echo yes; else echo no; fi
}

need_build() {
    need make "$(command_there make)" make make make
    need cc "$(command_there "${CC:-cc}")" gcc gcc gcc
    need libc-headers "$(headers_there)" libc6-dev glibc-devel gcc
    need pkg-config "$(command_there pkg-config)" pkg-config pkgconf-pkg-config pkg-config
    need sndfile "$(module_there sndfile)" libsndfile1-dev libsndfile-devel libsndfile
    need fftw3 "$(module_there fftw3)" libfftw3-dev fftw-devel fftw
    need gsl "$(module_there gsl)" libgsl-dev gsl-devel gsl
    need inih "$(module_there inih)" libinih-dev inih-devel inih
    need jansson "$(module_there jansson)" libjansson-dev jansson-devel jansson
    need libarchive "$(module_there libarchive)" libarchive-dev libarchive-devel libarchive
    need nettle "$(module_there nettle)" nettle-dev nettle-devel nettle
}
need_test() {
    need_build
    need cmocka "$(module_there cmocka)" libcmocka-dev libcmocka-devel cmocka
    need python3 "$(command_there python3)" python3 python3 python3
    need flac "$(command_there flac)" flac flac flac
    need xz "$(command_there xz)" xz-utils xz xz
    need zstd "$(command_there zstd)" zstd zstd zstd
    need locales "$(locales_there)" locales "glibc-locale-source glibc-common" gettext
}
need_page() {
    need python3 "$(command_there python3)" python3 python3 python3
    need chromium "$(command_there chromium)" chromium chromium chromium
    need pdfinfo "$(command_there pdfinfo)" poppler-utils poppler-utils poppler
    need tidy "$(command_there tidy)" tidy tidy tidy-html5
    need fonts "$(if fc-list 2>/dev/null | grep -q .; then echo yes; else echo no; fi)" "fontconfig fonts-dejavu-core" \
        "fontconfig dejavu-sans-fonts" fontconfig
}
need_lint() {
    need_build
    need clang "$(command_there clang)" clang clang llvm
    need clang-format "$(command_there clang-format)" clang-format clang-tools-extra clang-format
    need clang-tidy "$(command_there clang-tidy)" clang-tidy clang-tools-extra llvm
    need cppcheck "$(command_there cppcheck)" cppcheck cppcheck cppcheck
}
need_valgrind() {
    need_build
    need valgrind "$(command_there valgrind)" valgrind valgrind valgrind
}
need_coverage() {
    need_build
    need gcovr "$(command_there gcovr)" gcovr gcovr gcovr
}

# Debian's NumPy and pandas belong to Debian's own Python, not to another in PATH.
bench_scripts_there() {
    if "${BENCH_PYTHON:-/usr/bin/python3}" -c 'import numpy, pandas' 2>/dev/null; then echo yes; else echo no; fi
}
need_bench() {
    need numpy-and-pandas "$(bench_scripts_there)" "python3 python3-numpy python3-pandas" \
        "python3 python3-numpy python3-pandas" "numpy pandas"
    need mawk "$(command_there mawk)" mawk mawk mawk
    need gzip "$(command_there zcat)" gzip gzip gzip
    need zstd "$(command_there zstdcat)" zstd zstd zstd
    need valgrind "$(command_there valgrind)" valgrind valgrind valgrind
}
need_portable() {
    need_build
    need clang "$(command_there clang)" clang clang llvm
    need armhf-compiler "$(command_there arm-linux-gnueabihf-gcc)" "gcc-arm-linux-gnueabihf libc6-dev-armhf-cross" \
        gcc-arm-linux-gnu arm-linux-gnueabihf-binutils
}

# libFuzzer comes with clang's run-time library, on Debian in a package of its own.
fuzzer_there() {
    if echo 'int LLVMFuzzerTestOneInput(const char *d, unsigned long n) { return d == 0 && n == 1; }' |
        clang -fsanitize=fuzzer,address -x c -o /dev/null - >/dev/null 2>&1; then echo yes; else echo no; fi
}
need_fuzz() {
    need_build
    need clang "$(command_there clang)" clang clang llvm
    need libFuzzer "$(fuzzer_there)" "clang libclang-rt-14-dev" "clang compiler-rt" llvm
}

for what in "$@"; do
    case $what in
    build | test | page | lint | fuzz | coverage | valgrind | bench | portable) "need_$what" ;;
    *)
        echo "tools/setup.sh: unknown part '$what' (build, test, page, lint, fuzz, coverage, valgrind, bench or portable)" >&2
        exit 2
        ;;
    esac
done
[ -n "$missing" ] || exit 0

# apt-get, waiting for another package manager that holds a lock: two minutes at most.
LOCK_WAIT_S=${LOCK_WAIT_S:-120}
patient() {
    said=$(mktemp "${TMPDIR:-/tmp}/spw-setup.XXXXXX")
    waited=0
    until DEBIAN_FRONTEND=noninteractive $as_root apt-get -q "$@" >/dev/null 2>"$said"; do
        if ! grep -q -e 'Could not get lock' -e 'Unable to acquire' -e 'Unable to lock' "$said" ||
            [ "$waited" -ge "$LOCK_WAIT_S" ]; then
            cat "$said" >&2
            rm -f "$said"
            exit 1
        fi
        [ "$waited" -gt 0 ] ||
            echo "setting up: another package manager is at work; waiting for it, $LOCK_WAIT_S s at most" >&2
        sleep 5
        waited=$((waited + 5))
    done
    rm -f "$said"
}

unique() { printf '%s\n' $1 | sort -u | tr '\n' ' ' | sed 's/ $//'; }
debian=$(unique "$debian")
as_root=''
[ "$(id -u)" = 0 ] || as_root='sudo -n'
if command -v apt-get >/dev/null 2>&1 && { [ -z "$as_root" ] || sudo -n true 2>/dev/null; }; then
    echo "setting up: installing $debian" >&2
    patient update
    # shellcheck disable=SC2086
    patient install -y --no-install-recommends $debian
    exit 0
fi
cat >&2 <<END
missing:$missing
install them, then try again:
  Debian    apt-get install $debian
  Fedora    dnf install $(unique "$fedora")
  Homebrew  brew install $(unique "$homebrew")
END
exit 1
