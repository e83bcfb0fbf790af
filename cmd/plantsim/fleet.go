package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"lightwell/cmd/exit"
	"lightwell/collector/document"
)

// writeFleet writes each fleet file anew with other addresses: to path when
// there is one, else under its own name into the folder path.
func writeFleet(path string, files []string, addr func(unit string) string) error {
	target := func(string) string { return path }
	if len(files) > 1 {
		if err := os.MkdirAll(path, 0o755); err != nil {
			return fmt.Errorf("write fleet: %w", err)
		}
		target = func(file string) string { return filepath.Join(path, filepath.Base(file)) }
	}
	written := map[string]bool{}
	for _, file := range files {
		to := target(file)
		if same(file, to) || written[to] {
			return exit.Usage(fmt.Errorf("write fleet: %s would be overwritten; name another place", to))
		}
		written[to] = true
		data, err := os.ReadFile(file)
		if err != nil {
			return fmt.Errorf("write fleet: %w", err)
		}
		if err := os.WriteFile(to, readdress(file, data, addr), 0o644); err != nil {
			return fmt.Errorf("write fleet: %w", err)
		}
	}
	return nil
}

func same(a, b string) bool {
	x, err := os.Stat(a)
	if err != nil {
		return false
	}
	y, err := os.Stat(b)
	return err == nil && os.SameFile(x, y)
}

// readdress returns a fleet file, which must be a valid one, with the address
// of every unit that addr knows replaced. All else stays as it was, comments
// and layout too.
func readdress(name string, data []byte, addr func(unit string) string) []byte {
	file, faults := document.Parse(name, data)
	if len(faults) > 0 {
		return data
	}
	var shape struct {
		Units []struct {
			ID      string `yaml:"id"`
			Address string `yaml:"address"`
		} `yaml:"units"`
	}
	_ = file.Decode(&shape) // the other keys are no faults here: the file has been checked
	lines := strings.SplitAfter(string(data), "\n")
	for i, u := range slices.Backward(shape.Units) {
		to := addr(u.ID)
		if u.Address == "" || to == "" {
			continue
		}
		at := file.Fault(fmt.Sprintf("$.units[%d].address", i), "", "")
		lines[at.Line-1] = splice(lines[at.Line-1], at.Column-1, strconv.Quote(to))
	}
	return []byte(strings.Join(lines, ""))
}

// splice replaces the YAML scalar that begins at character start of line.
func splice(line string, start int, with string) string {
	runes := []rune(line)
	rest := string(runes[start:])
	end := strings.IndexAny(rest, ",}\r\n")
	if comment := strings.Index(rest, " #"); comment >= 0 && (end < 0 || comment < end) {
		end = comment
	}
	if quote := rest[0]; quote == '"' || quote == '\'' {
		end = 2 + strings.IndexByte(rest[1:], quote)
	}
	if end < 0 {
		end = len(rest)
	}
	return string(runes[:start]) + with + rest[len(strings.TrimRight(rest[:end], " \t")):]
}
