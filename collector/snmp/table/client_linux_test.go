package table_test

import (
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"runtime/pprof"
	"strings"
	"syscall"
	"time"

	"go.uber.org/zap"

	"lightwell/collector"
	"lightwell/collector/model"
	"lightwell/collector/snmp"
	"lightwell/collector/snmp/usm"
)

const (
	community       = "public"
	authPassword    = "authentication password"
	privacyPassword = "privacy password"
)

func benchUser() *usm.User {
	u, err := usm.NewUser(usm.Account{User: "reader", Auth: "sha256", AuthPassword: collector.NewSecret(authPassword), Privacy: "aes128", PrivacyPassword: collector.NewSecret(privacyPassword)})
	check(err)
	return u
}

// A measure is what one process found.
type measure struct {
	Polls       int     // answered, in the measured cycles
	CPU         float64 // µs a poll
	FirstCPU    float64 // s, of the first cycle
	Cycle       float64 // s, mean
	HealthyIn   float64 // s until the last answer of a cycle, mean
	Allocations float64 // a poll
	PeakMB      float64 // of the process
	LiveMB      float64 // of the heap, that came with polling
	Sockets     int
}

type driver struct {
	client  *snmp.Client
	units   []collector.Unit
	silent  []uint8 // polls in a row
	over    chan int
	allowed [2]int
	done    []func([]collector.Reading, error)
}

func clientMain(args []string) {
	flags := flag.NewFlagSet("client", flag.ExitOnError)
	n := flags.Int("n", 1000, "")
	window := flags.Int("window", 256, "")
	warm := flags.Int("warm", 1, "")
	cycles := flags.Int("cycles", 3, "")
	version := flags.String("version", "2c", "")
	port := flags.Int("port", 0, "")
	profile := flags.String("profile", "", "")
	_ = flags.Parse(args)
	var d interface {
		cycle() (answered int, took, last time.Duration)
	}
	if *version == "values" {
		d = newBareFleet(*n, *window, *port)
	} else {
		d = newDriver(*n, *window, *port, *version)
	}
	m := measure{}
	runtime.GC()
	var mem [2]runtime.MemStats
	runtime.ReadMemStats(&mem[0])
	heap := mem[0].HeapAlloc
	before := cpu()
	d.cycle()
	m.FirstCPU = (cpu() - before).Seconds()
	for range *warm - 1 {
		d.cycle()
	}
	if *profile != "" {
		f, err := os.Create(*profile)
		check(err)
		check(pprof.StartCPUProfile(f))
		defer pprof.StopCPUProfile()
	}
	runtime.ReadMemStats(&mem[0])
	before = cpu()
	for range *cycles {
		polls, took, healthy := d.cycle()
		m.Polls += polls
		m.Cycle += took.Seconds() / float64(*cycles)
		m.HealthyIn += healthy.Seconds() / float64(*cycles)
	}
	m.CPU = float64((cpu() - before).Microseconds()) / float64(m.Polls)
	runtime.ReadMemStats(&mem[1])
	m.Allocations = float64(mem[1].Mallocs-mem[0].Mallocs) / float64(m.Polls)
	m.PeakMB, m.Sockets = peakMB(), sockets()
	runtime.GC()
	runtime.ReadMemStats(&mem[1])
	m.LiveMB = float64(int64(mem[1].HeapAlloc)-int64(heap)) / 1e6
	runtime.KeepAlive(d)
	check(json.NewEncoder(os.Stdout).Encode(m))
}

func newDriver(n, window, port int, version string) *driver {
	set, err := model.Builtin()
	check(err)
	dir, err := os.MkdirTemp("", "lightwell-table")
	check(err)
	defer os.RemoveAll(dir)
	var text strings.Builder
	text.WriteString("model: twenty-four\ndescription: for a benchmark\nroles: [indoor]\nsupplies: 1\npoints:\n  - {quantity: uptime, object: 1.3.6.1.2.1.1.3.0, scale: 0.01}\n")
	for i := range 23 {
		fmt.Fprintf(&text, "  - {quantity: rf_output_level, port: p%d, object: 1.3.6.1.4.1.32473.1.1.%d.0, scale: 0.00001, unit: dBm}\n", i, i+1)
	}
	check(os.WriteFile(filepath.Join(dir, "m.yaml"), []byte(text.String()), 0o600))
	check(set.AddFolder(dir))
	cfg := snmp.Default()
	cfg.Models, cfg.Window, cfg.Pace = set, window, 0
	cfg.Credentials = map[string]snmp.Credentials{"c": {Version: "2c", Community: collector.NewSecret(community)}}
	if version == "3" {
		cfg.Credentials["c"] = snmp.Credentials{Version: "3", User: "reader", Auth: "sha256", AuthPassword: collector.NewSecret(authPassword),
			Privacy: "aes128", PrivacyPassword: collector.NewSecret(privacyPassword)}
	}
	client, err := snmp.New(cfg, zap.NewNop())
	check(err)
	d := &driver{client: client, units: make([]collector.Unit, n), silent: make([]uint8, n), over: make(chan int, n), allowed: [2]int{window, max(window/8, 1)}}
	for i := range d.units {
		a := i + 1<<16
		d.units[i] = collector.Unit{ID: fmt.Sprint("u", i), Address: fmt.Sprintf("127.%d.%d.%d:%d", a>>16, a>>8&255, a&255, port), Credentials: "c",
			Equipment: collector.Equipment{Model: "twenty-four"}}
		d.done = append(d.done, d.answer(i))
	}
	return d
}

// cycle asks every unit once, as many at a time as the windows hold, and
// returns how many answered, how long it took and when the last answer came.
func (d *driver) cycle() (answered int, took, last time.Duration) {
	start := time.Now()
	var todo [2][]int
	var under [2]int
	dead := make([]bool, len(d.units))
	for i := range d.units {
		crowd := 0
		if dead[i] = d.silent[i] >= 3; dead[i] {
			crowd = 1
		}
		todo[crowd] = append(todo[crowd], i)
	}
	for left := len(d.units); left > 0; {
		for crowd := range todo {
			for len(todo[crowd]) > 0 && under[crowd] < d.allowed[crowd] {
				d.ask(todo[crowd][0])
				todo[crowd] = todo[crowd][1:]
				under[crowd]++
			}
		}
		i := <-d.over
		for more := true; more; {
			left--
			if dead[i] {
				under[1]--
			} else {
				under[0]--
			}
			if d.silent[i] == 0 {
				answered++
				last = time.Since(start)
			}
			select {
			case i = <-d.over:
			default:
				more = false
			}
		}
	}
	return answered, time.Since(start), last
}

func (d *driver) ask(i int) { d.client.Submit(d.units[i], d.done[i]) }

func (d *driver) answer(i int) func([]collector.Reading, error) {
	return func(rs []collector.Reading, err error) {
		switch {
		case err != nil:
			d.silent[i] = min(d.silent[i]+1, 100)
		case len(rs) != 24 || rs[0].Quality != collector.Good || rs[23].Quality != collector.Good:
			check(fmt.Errorf("unit %d: %v", i, rs))
		default:
			d.silent[i] = 0
		}
		d.over <- i
	}
}

func cpu() time.Duration {
	var u syscall.Rusage
	check(syscall.Getrusage(syscall.RUSAGE_SELF, &u))
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

func peakMB() float64 {
	b, _ := os.ReadFile("/proc/self/status")
	_, rest, _ := strings.Cut(string(b), "VmHWM:")
	var kb float64
	_, _ = fmt.Sscan(rest, &kb)
	return kb / 1024
}

func sockets() int {
	n := 0
	all, _ := os.ReadDir("/proc/self/fd")
	for _, f := range all {
		if to, _ := os.Readlink("/proc/self/fd/" + f.Name()); strings.HasPrefix(to, "socket:") {
			n++
		}
	}
	return n
}
