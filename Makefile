# ohmgate: commands first. DEVELOPERS.md explains each.
SHELL  := /bin/bash
GO     ?= go
STAMP  := $(shell git rev-parse --short=12 HEAD^{tree} 2>/dev/null)
FLAGS  := -trimpath -ldflags "-X main.build=$(STAMP)"
BIN    := build/ohmgate
export CGO_ENABLED := 0

.PHONY: build demo test check race cover cross bench fuzz page deps clean

build:            ## the program, with the page if Node is there
	@if command -v npm >/dev/null 2>&1; then $(MAKE) --no-print-directory page; else echo "no npm: building without the live page"; fi
	$(GO) build $(FLAGS) -o $(BIN) ./cmd/ohmgate

page: cmd/ohmgate/page/dist/index.html ## the live page, from its TypeScript

cmd/ohmgate/page/dist/index.html: $(wildcard cmd/ohmgate/page/src/* cmd/ohmgate/page/*.json cmd/ohmgate/page/*.ts cmd/ohmgate/page/index.html)
	cd cmd/ohmgate/page && npm ci --no-audit --no-fund --loglevel=error && npm run --silent build

demo:             ## build, run the main job on the demo site, say what to look at
	@$(GO) build $(FLAGS) -o $(BIN) ./cmd/ohmgate
	@bash .ci/demo $(BIN)

deps:             ## what the tests need from Debian
	@bash .ci/deps

test: deps page   ## everything that CI runs
	@bash .ci/test

check:            ## the quick part: format, vet, staticcheck, dead code, tests
	@test -z "$$(gofmt -l . | tee /dev/stderr)"
	$(GO) vet ./...
	$(GO) tool staticcheck ./...
	@bash .ci/dead
	$(GO) test ./...

race:             ## the rooms that share memory or hold the logic, with the race detector
	@bash .ci/race

cover:            ## every line of monitor and interlock
	@bash .ci/cover

cross:            ## it compiles everywhere
	@bash .ci/cross

bench:            ## ratios in one run against a peer or a floor
	@bash .ci/bench

fuzz:             ## each fuzz target for FUZZTIME (10s)
	@bash .ci/fuzz

clean:
	rm -rf build cmd/ohmgate/page/dist cmd/ohmgate/page/node_modules
