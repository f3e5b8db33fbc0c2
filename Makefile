# make demo   a card image from the demo shop: planned, written, verified, its sheet printed
# make test   all tests, after installing the outside tools that judge
# make wine   the program for Windows, under wine
# make hardware  a Linux kernel with emulated card readers, in qemu (SHORT=-short: a quick look)
# make check  formatting, vet, staticcheck, race tests, short fuzz runs
# make bench  speed and memory beside the public tools
# make drill  what is random, at length: 10,000 changed cards, judged by a model of devices too, 100 of them on
#             loop drives; 10,000 damaged ones, judged by fsck.fat and mtools too; the writing of cards killed
#             at 400 random moments, ledgers at 238; 100,000 steps of random months; logs of a gigabyte
# make build  bin/cardwright
# make release  dist/: the program for Linux, macOS and Windows, with digests and a list of what is inside
# make release-again  builds it twice, from clones in two folders with empty caches: the same bytes

GO      ?= go
DEMO    ?= demo
FUZZ    ?= 20s
LINT     = $(GO) tool -modfile=.ci/lint/go.mod
# the demo's packages stand below testdata, which ./... leaves out
ALL      = ./... ./testdata/demo/...

.PHONY: build release release-again wine hardware demo test check bench tools fuzz clean drill

build:
	CGO_ENABLED=0 $(GO) build -trimpath -o bin/cardwright ./cmd/cardwright

release:
	$(GO) run -modfile=.ci/release/go.mod ./testdata/release dist

release-again:
	sh testdata/release/again $(TARGETS)

demo: build
	rm -rf $(DEMO)
	$(GO) run ./testdata/demo $(DEMO)
	bin/cardwright plan kittiwake --shop $(DEMO)
	@echo
	bin/cardwright prepare kittiwake --shop $(DEMO) --to $(DEMO)/kittiwake.img --size 4GB
	@echo
	bin/cardwright verify $(DEMO)/kittiwake.img --shop $(DEMO) --for kittiwake --order $(DEMO)/install-order.txt
	@echo
	cat $(DEMO)/install-order.txt
	@echo
	bin/cardwright seatrial $(DEMO)/kittiwake-trial.log --shop $(DEMO) --for kittiwake --pilot --output $(DEMO)/sea-trial.pdf

test: tools
	$(GO) test -timeout 50m $(ALL)

wine:
	sh testdata/wine/run

hardware:
	$(GO) run ./testdata/hardware $(SHORT)

check: tools
	test -z "$$($(LINT) gofumpt -l . | tee /dev/stderr)"
	$(GO) vet $(ALL)
	$(LINT) staticcheck $(ALL)
	for system in linux darwin windows; do for chip in amd64 arm64; do \
		echo $$system/$$chip && CGO_ENABLED=0 GOOS=$$system GOARCH=$$chip $(GO) vet ./... || exit 1; \
	done; done
	$(GO) test -race -short -timeout 50m $(ALL)
	$(MAKE) fuzz

# every fuzz target for a short while, one after the other
fuzz:
	sh testdata/fuzz-all $(FUZZ)

# DRILL=500 make drill for fewer cards
drill: tools
	DRILL=$${DRILL:-10000} $(GO) test ./verify -timeout 60m -run 'TestDevices|TestCorpusRandom|TestCorpusDamage|TestCorpusAgrees|TestCorpusReads|TestAny|TestReadErrors|TestShortReads' -rapid.checks $${CHECKS:-1000} -v
	DRILL=$${DRILL:-10000} $(GO) test ./verify/fatread -timeout 60m -v
	DRILL=$${DRILL:-10000} $(GO) test ./cmd/cardwright -run 'TestKilled' -timeout 60m
	CARDWRIGHT_MONTHS=100000 $(GO) test ./verify/ledger/audit -run TestRandomMonths -timeout 120m
	CARDWRIGHT_DRILLS=34 $(GO) test ./verify/ledger/store -run 'TestKilled' -timeout 60m
	DRILL=20000 $(GO) test ./manifest/order -run "Oracle|Advice" -count=1 -timeout 60m -v
	DRILL_BYTES=1000000000 $(GO) test ./verify/seatrial/sentences -run TestHostileLogsAreBounded -timeout 60m

bench: build tools
	$(GO) run ./testdata/bench
	$(GO) run ./testdata/bench ledger
	$(GO) test ./manifest/order -run '^$$' -bench . -benchtime 20x

tools:
	sh testdata/test-tools

clean:
	rm -rf bin dist $(DEMO)
