# spanwright: make, make demo, make test, make lint, make sanitize, make install; what else
# there is, and how long it takes, is in DEVELOPERS.md. Everything made goes to $(BUILD).

BUILD   ?= build
PREFIX  ?= /usr/local
DESTDIR ?=
CC      ?= cc
AR      ?= ar
VERSION := $(shell sed -n 's/^\#define SPW_VERSION "\(.*\)"/\1/p' include/spanwright/base.h)

MODULES  := sndfile fftw3 gsl inih jansson libarchive nettle
WARNINGS := -Wall -Wextra -Wconversion -Wshadow
OPTIMISE ?= -O2 -g
EXTRA    ?=
# The flags of a list that this compiler takes for this machine; asked once a run.
takes = $(foreach f,$(1),$(shell $(CC) -Werror -O2 $(f) -include stdio.h -x c -c -o /dev/null /dev/null \
            2>/dev/null && echo '$(f)'))
# Hardening; tests/builds/test_hardening.sh reads it back from what was built. HARDEN= is
# for builds that watch the program themselves (sanitizers, coverage).
ifeq ($(origin HARDEN),undefined)
HARDEN := -fstack-protector-strong -U_FORTIFY_SOURCE \
          $(lastword -D_FORTIFY_SOURCE=2 $(call takes,-D_FORTIFY_SOURCE=3)) \
          $(call takes,-fcf-protection=full -fstack-clash-protection -mbranch-protection=standard)
HARDENED := yes
endif
HARDEN_LD ?= -Wl,-z,relro,-z,now,-z,noexecstack
# The same sources make the same bytes in any folder.
SAME     := -ffile-prefix-map='$(CURDIR)'=.
STD      := -std=c17 -D_GNU_SOURCE -D_FILE_OFFSET_BITS=64 -ffp-contract=off -fno-math-errno
# Library headers are looked up as system headers: their warnings are not ours.
MODULE_CFLAGS = $(patsubst -I%,-isystem %,$(shell pkg-config --cflags $(MODULES) 2>/dev/null))
MODULE_LIBS   = $(shell pkg-config --libs $(MODULES) 2>/dev/null) -lm -lpthread
ALL_CFLAGS = $(STD) $(OPTIMISE) $(HARDEN) $(SAME) $(WARNINGS) -fPIC -fvisibility=hidden -Iinclude -Isrc \
             $(MODULE_CFLAGS) $(EXTRA) $(CFLAGS)
ALL_LDFLAGS = $(HARDEN_LD) $(EXTRA) $(LDFLAGS)

STAGES  := base bench stats capture edges pulses span adapter report
# Loops over numbers: worth the compiler's time. Fuzzing does not follow their comparisons,
# which would take most of its own.
NUMERIC := edges stats pulses span adapter
NUMERIC_CFLAGS ?= $(patsubst -O2,-O3,$(filter -O2,$(OPTIMISE)))
LIB_SRC := $(sort $(foreach s,$(STAGES),$(shell find src/$(s) -name "*.c")))
CLI_SRC := $(sort $(wildcard src/cli/*.c))
SIM_SRC := $(sort $(wildcard tools/sim/*.c))
# The fuzz targets are tests too: what they once found is run by them again.
SUP_SRC := $(sort $(wildcard tests/support/*.c) $(filter-out tests/fuzz/entry.c,$(wildcard tests/fuzz/*.c)))
TOOL_SRC := $(sort $(wildcard tools/*.c))
TEST_SRC := $(filter-out $(LEFT_OUT:%=tests/%.c),$(sort $(shell find tests -name 'test_*.c' 2>/dev/null)))
obj = $(patsubst %.c,$(BUILD)/obj/%.o,$(1))

LIB_A  := $(BUILD)/libspanwright.a
LIB_SO := $(BUILD)/libspanwright.so.0
SIM_A  := $(BUILD)/libsim.a
PROGRAM := $(BUILD)/spanwright
TOOLS  := $(patsubst tools/%.c,$(BUILD)/tools/%,$(TOOL_SRC))
TESTS  := $(patsubst tests/%.c,$(BUILD)/tests/%,$(TEST_SRC))

.PHONY: all setup setup-test setup-lint setup-fuzz setup-coverage setup-valgrind demo test check check-threads test-page fuzz fuzz-one \
        lint analyze format sanitize tsan coverage reproducible portable mutants valgrind accuracy truth bench install clean captures tools
.DELETE_ON_ERROR:
.SECONDARY:

all: setup
	@$(MAKE) --no-print-directory $(PROGRAM) $(LIB_SO)

setup:
	@tools/setup.sh build
setup-test:
	@tools/setup.sh test
setup-lint:
	@tools/setup.sh lint test
setup-fuzz:
	@tools/setup.sh fuzz
setup-valgrind:
	@tools/setup.sh test valgrind
setup-coverage:
	@tools/setup.sh test coverage

$(BUILD)/obj/%.o: %.c Makefile
	@mkdir -p $(@D)
	$(CC) $(ALL_CFLAGS) $(if $(filter tools/% tests/%,$<),-Itools -Itests $(TEST_CFLAGS),) \
	    $(if $(filter $(NUMERIC:%=src/%/%),$<),$(NUMERIC_CFLAGS),) -MMD -MP -c -o $@ $<

$(LIB_A): $(call obj,$(LIB_SRC))
	@rm -f $@
	$(AR) rcsD $@ $^
$(LIB_SO): $(call obj,$(LIB_SRC))
	$(CC) -shared -Wl,-soname,$(notdir $@) $(ALL_LDFLAGS) -o $@ $^ $(MODULE_LIBS)
$(PROGRAM): $(call obj,$(CLI_SRC)) $(LIB_A)
	$(CC) $(ALL_LDFLAGS) -pie -o $@ $^ $(MODULE_LIBS)
$(SIM_A): $(call obj,$(SIM_SRC) $(SUP_SRC))
	@rm -f $@
	$(AR) rcsD $@ $^
$(BUILD)/tools/%: $(BUILD)/obj/tools/%.o $(SIM_A) $(LIB_A)
	@mkdir -p $(@D)
	$(CC) $(ALL_LDFLAGS) -o $@ $^ $(MODULE_LIBS)
$(BUILD)/tests/%: $(BUILD)/obj/tests/%.o $(SIM_A) $(LIB_A)
	@mkdir -p $(@D)
	$(CC) $(ALL_LDFLAGS) -o $@ $^ $(MODULE_LIBS) -lcmocka

tools: $(TOOLS)

demo: setup
	@$(MAKE) --no-print-directory -s $(PROGRAM)
	@tools/demo.sh $(PROGRAM)

# All tests: `make test` sets up first; `make check` is the same without set-up.
test: setup-test
	@$(MAKE) --no-print-directory check
check: $(PROGRAM) $(TESTS) $(TOOLS)
	@BUILD=$(BUILD) HARDENED=$(or $(HARDENED),no) tests/run.sh $(TESTS)

# The inspection sheet in a real browser: screenshots and PDF files go to $(BUILD)/page.
test-page:
	@tools/setup.sh build page
	@$(MAKE) --no-print-directory -s $(PROGRAM)
	@SPANWRIGHT=$(PROGRAM) python3 tests/page/page_tests.py $(BUILD)/page

# Not what repeats one small calculation a million times.
sanitize: setup-test
	@$(MAKE) --no-print-directory BUILD=$(BUILD)/sanitize OPTIMISE="-O1 -g -fno-omit-frame-pointer" HARDEN= \
	    LEFT_OUT="$(addprefix simulated/test_,intervals lattice type_a fixed_point verify)" \
	    EXTRA="-fsanitize=address,undefined -fno-sanitize-recover=all -DSPW_NARROW" check

# All fuzz targets, SECONDS each, as many at once as there are processors; or one of them:
# make fuzz-one TARGET=vcd SECONDS=600. Findings and grown corpora are kept in $(BUILD)/fuzz.
SECONDS ?= 60
TARGET  ?= chain
FUZZ_MAKE = $(MAKE) --no-print-directory -s BUILD=$(BUILD)/fuzz CC=clang OPTIMISE="-O1 -g1 -fno-omit-frame-pointer" \
    HARDEN= EXTRA="-fsanitize=fuzzer-no-link,address,undefined -fno-sanitize-recover=all -DSPW_NARROW" \
    TEST_CFLAGS=-fno-sanitize=fuzzer-no-link NUMERIC_CFLAGS=-fno-sanitize-coverage=trace-cmp
fuzz: setup-fuzz
	+@$(FUZZ_MAKE) $(BUILD)/fuzz/fuzz
	@tests/fuzz/run.sh $(BUILD)/fuzz $(SECONDS)
fuzz-one: setup-fuzz
	+@$(FUZZ_MAKE) $(BUILD)/fuzz/fuzz
	@tests/fuzz/run.sh $(BUILD)/fuzz $(SECONDS) $(TARGET)
$(BUILD)/fuzz: $(call obj,$(wildcard tests/fuzz/*.c) tests/support/kept.c) $(LIB_A)
	$(CC) $(ALL_LDFLAGS) -fsanitize=fuzzer -o $@ $^ $(MODULE_LIBS)

# The demo and the tests of what reads files under memcheck.
MEMCHECKED := $(addprefix unit/,base/test_base bench/test_bench capture/test_open capture/test_raw capture/test_vcd \
                capture/test_vcd_dialects capture/test_audio) refused/vcd/test_refused_vcd refused/table/test_refused_table
MEMCHECK   := valgrind -q --error-exitcode=9 --leak-check=full
valgrind: setup-valgrind
	@$(MAKE) --no-print-directory -s $(PROGRAM) $(addprefix $(BUILD)/tests/,$(MEMCHECKED))
	@printf '%s\n' $(addprefix $(BUILD)/tests/,$(MEMCHECKED)) | xargs -P "$$(nproc)" -n 1 sh -c \
	    '$(MEMCHECK) "$$0" >"$$0.memcheck" 2>&1 || { cat "$$0.memcheck"; exit 1; }'
	@tools/demo.sh $(MEMCHECK) $(PROGRAM) >/dev/null
	@echo "valgrind: clean (the demo and $(words $(MEMCHECKED)) test programs)"

# Threads: the tests in which they run, under ThreadSanitizer. Add yours.
THREADED := unit/pulses/test_threads unit/pulses/test_crew unit/capture/test_source
tsan: setup-test
	@$(MAKE) --no-print-directory -s BUILD=$(BUILD)/tsan OPTIMISE="-O1 -g -fno-omit-frame-pointer" HARDEN= \
	    EXTRA="-fsanitize=thread -DSPW_NARROW" check-threads
check-threads: $(PROGRAM) $(addprefix $(BUILD)/tests/,$(THREADED))
	@BUILD=$(BUILD) HARDENED=no tests/run.sh -only $(filter-out $<,$^) tests/cli/test_cli.sh

# Lines and branches of src/ that the tests run; fails below 95 % and 85 %.
coverage: setup-coverage
	@$(MAKE) --no-print-directory -s BUILD=$(BUILD)/coverage OPTIMISE="-Og -g" HARDEN= \
	    EXTRA="--coverage -fprofile-update=atomic -DSPW_NARROW" GCOV_ERROR_FILE=/dev/null check
	@tools/coverage.sh $(BUILD)/coverage 95 85

# Two builds of copies in two folders give the same bytes.
reproducible: setup
	@tools/reproducible.sh $(BUILD)/reproducible

# One small change at a time (tests/mutants/): a test must fail. MUTANTS=TEXT: lines with it.
MUTANTS ?=
mutants: setup-test
	@tools/mutants.py $(BUILD)/mutants --only "$(MUTANTS)"

# Other compilers, another kind of processor.
portable:
	@tools/setup.sh portable
	@$(MAKE) --no-print-directory -s $(PROGRAM)
	@tools/portable.sh $(BUILD)/portable $(PROGRAM)

lint: setup-lint
	@BUILD=$(BUILD) tools/lint.sh $(ALL_CFLAGS)
analyze: setup-lint
	@tools/analyze.sh $(ALL_CFLAGS)
format:
	@clang-format -i $(shell find include src tools tests -name '*.[ch]' -not -path '*/data/*')

captures: $(BUILD)/tools/make_captures
	$< captures

# Edge timing of simulated recordings against its theoretical bound.
accuracy: setup
	@$(MAKE) --no-print-directory -s $(BUILD)/tools/accuracy $(BUILD)/tools/disturbed
	@$(BUILD)/tools/accuracy
	@$(BUILD)/tools/disturbed
	@$(BUILD)/tools/disturbed --clean

# Logic captures of known truth through the command: coverage, verdicts, events.
CAPTURES ?= 300
TRUTH_FLAGS ?=
truth: setup
	@$(MAKE) --no-print-directory -s $(PROGRAM) $(BUILD)/tools/truth
	@$(BUILD)/tools/truth --program $(PROGRAM) --captures $(CAPTURES) $(TRUTH_FLAGS)

# Speed against plain reading, plain decoding and scripts. SIZE=0.1: shorter captures;
# RUNS: rounds; BENCH_FLAGS: see tools/bench/bench.py --help. The tables go to stdout.
SIZE ?= 1
RUNS ?= 5
BENCH_PYTHON ?= /usr/bin/python3
BENCH_FLAGS ?=
bench:
	@BENCH_PYTHON=$(BENCH_PYTHON) tools/setup.sh build bench
	@$(MAKE) --no-print-directory -s $(PROGRAM) $(BUILD)/tools/make_loads $(BUILD)/tools/bench_reference >&2
	@LC_ALL=C PYTHONDONTWRITEBYTECODE=1 $(BENCH_PYTHON) tools/bench/bench.py --build $(BUILD) --size $(SIZE) \
	    --runs $(RUNS) $(BENCH_FLAGS)

install: all
	install -d $(DESTDIR)$(PREFIX)/bin $(DESTDIR)$(PREFIX)/lib/pkgconfig $(DESTDIR)$(PREFIX)/include/spanwright
	install -m 755 $(PROGRAM) $(DESTDIR)$(PREFIX)/bin/spanwright
	install -m 644 $(LIB_A) $(DESTDIR)$(PREFIX)/lib/
	install -m 755 $(LIB_SO) $(DESTDIR)$(PREFIX)/lib/
	ln -sf $(notdir $(LIB_SO)) $(DESTDIR)$(PREFIX)/lib/libspanwright.so
	install -m 644 include/spanwright/*.h $(DESTDIR)$(PREFIX)/include/spanwright/
	sed -e 's|@PREFIX@|$(PREFIX)|' -e 's|@VERSION@|$(VERSION)|' -e 's|@MODULES@|$(MODULES)|' \
	    tools/spanwright.pc.in > $(DESTDIR)$(PREFIX)/lib/pkgconfig/spanwright.pc

clean:
	rm -rf $(BUILD)

-include $(shell find $(BUILD)/obj -name '*.d' 2>/dev/null)
