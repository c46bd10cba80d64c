// Package config says what can be set and where a setting comes from: the built-in default,
// then the file, then the environment, then the command line, each over the one before.
package config

import (
	"errors"
	"fmt"
	"maps"
	"net"
	"net/netip"
	"net/url"
	"slices"
	"strings"
	"time"
)

// Storage is where the services keep their data.
type Storage struct {
	Data  string `help:"Folder of the SQLite files, one for each service." default:"data" placeholder:"DIR"`
	Store string `help:"Where to store instead: postgres://… with a schema for each service. Empty means SQLite in the data folder." placeholder:"URL" secret:"true"`
}

// Peers are the addresses of the services that run in other processes, such as dns:///frames:7000.
type Peers struct {
	Access     string `help:"Address of the access service when it runs elsewhere." placeholder:"TARGET"`
	Frames     string `help:"Address of the frames service when it runs elsewhere." placeholder:"TARGET"`
	Takeoff    string `help:"Address of the takeoff service when it runs elsewhere." placeholder:"TARGET"`
	Rigging    string `help:"Address of the rigging service when it runs elsewhere." placeholder:"TARGET"`
	Sequencing string `help:"Address of the sequencing service when it runs elsewhere." placeholder:"TARGET"`
	Sitelog    string `help:"Address of the site log service when it runs elsewhere." placeholder:"TARGET"`
}

// Settings are all that `serve` can be told.
type Settings struct {
	Storage
	Peers
	Listen         string        `help:"Where pages and REST are served." default:"127.0.0.1:8080" placeholder:"ADDR"`
	GRPCListen     string        `name:"grpc-listen" help:"Where gRPC is served; one port reaches all services of the process." default:"127.0.0.1:7000" placeholder:"ADDR"`
	AdminListen    string        `help:"Where metrics, health and profiles are served; keep it away from the public." default:"127.0.0.1:9090" placeholder:"ADDR"`
	PublicURL      string        `name:"public-url" help:"Address at which people open the pages, such as https://pikepole.example; empty means the listening address." placeholder:"URL"`
	TrustedProxies []string      `help:"Networks such as 10.0.0.0/8 whose X-Forwarded-For is believed; several with commas." placeholder:"NET"`
	RequestRate    float64       `help:"Requests a second that one address may make." default:"50"`
	RequestBurst   int           `help:"Requests that one address may make at once." default:"300"`
	Cores          int           `help:"Heavy computations at a time; 0 means one for each processor." default:"0"`
	StopTimeout    time.Duration `help:"How long calls under way may take when the program is stopped." default:"20s"`
	LogLevel       string        `help:"Least important log lines to write: debug, info, warn or error." default:"info" enum:"debug,info,warn,error"`
}

// Proxies are the trusted networks.
func (s Settings) Proxies() ([]netip.Prefix, error) {
	proxies := make([]netip.Prefix, len(s.TrustedProxies))
	for i, text := range s.TrustedProxies {
		var err error
		if proxies[i], err = netip.ParsePrefix(text); err != nil {
			return nil, err
		}
	}
	return proxies, nil
}

// Names of the parts that can be served, in the order in which they are started.
func Names() []string {
	return []string{"access", "frames", "takeoff", "rigging", "sequencing", "sitelog", "gateway"}
}

// Calls lists for a part the services that it calls, beside access, which all need to
// verify tokens. It is the call graph between services and has no cycle.
func Calls(part string) []string {
	return map[string][]string{
		"takeoff":    {"frames"},
		"rigging":    {"frames"},
		"sequencing": {"frames"},
		"sitelog":    {"frames", "sequencing"},
		"gateway":    {"access", "frames", "takeoff", "rigging", "sequencing", "sitelog"},
	}[part]
}

// Target is the address of a service that runs elsewhere; empty when none was given.
func (p Peers) Target(service string) string { return p.byName()[service] }

func (p Peers) byName() map[string]string {
	return map[string]string{
		"access": p.Access, "frames": p.Frames, "takeoff": p.Takeoff,
		"rigging": p.Rigging, "sequencing": p.Sequencing, "sitelog": p.Sitelog,
	}
}

// Serves returns the parts to serve in starting order: those named, or all of them when none is.
func Serves(named []string) ([]string, error) {
	if len(named) == 0 {
		return Names(), nil
	}
	for _, n := range named {
		if !slices.Contains(Names(), n) {
			return nil, fmt.Errorf("there is no service %q; there are %s", n, strings.Join(Names(), ", "))
		}
	}
	var parts []string
	for _, n := range Names() {
		if slices.Contains(named, n) {
			parts = append(parts, n)
		}
	}
	return parts, nil
}

// Check finds out whether the parts can be served with these settings, and returns every
// reason why not: an address that is missing or superfluous, split services that would share
// SQLite files, a value out of range.
func (s Settings) Check(parts []string) error {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	needed := map[string]string{}
	for _, p := range parts {
		for _, callee := range append([]string{"access"}, Calls(p)...) {
			if !slices.Contains(parts, callee) && needed[callee] == "" {
				needed[callee] = p
			}
		}
	}
	peers := s.byName()
	for _, callee := range slices.Sorted(maps.Keys(needed)) {
		if peers[callee] == "" {
			fault("%s calls %s, which is not served here: give its address with --%s", needed[callee], callee, callee)
		}
	}
	for _, p := range parts {
		if peers[p] != "" {
			fault("%s is served here, so leave --%s out", p, p)
		}
	}
	split := len(parts) < len(Names())
	stored := slices.ContainsFunc(parts, func(p string) bool { return p != "takeoff" && p != "gateway" })
	if split && stored && s.Store == "" {
		fault("services that run apart need --store postgres://…: SQLite files belong to one process")
	}
	return errors.Join(append(faults, s.checkValues()...)...)
}

// checkValues checks each value by itself.
func (s Settings) checkValues() []error {
	var faults []error
	fault := func(format string, args ...any) { faults = append(faults, fmt.Errorf(format, args...)) }
	if s.Store != "" {
		if u, err := url.Parse(s.Store); err != nil || (u.Scheme != "postgres" && u.Scheme != "postgresql") {
			fault("--store must be a postgres:// address; leave it out for SQLite in the data folder")
		}
	}
	if _, err := s.Proxies(); err != nil {
		fault("--trusted-proxies: %w", err)
	}
	if s.RequestRate <= 0 || s.RequestBurst <= 0 {
		fault("--request-rate and --request-burst must be more than nothing")
	}
	if s.Cores < 0 {
		fault("--cores must be 0 or more, not %d", s.Cores)
	}
	if s.StopTimeout <= 0 {
		fault("--stop-timeout must be longer than nothing, not %s", s.StopTimeout)
	}
	for flag, addr := range map[string]string{"listen": s.Listen, "grpc-listen": s.GRPCListen, "admin-listen": s.AdminListen} {
		if _, _, err := net.SplitHostPort(addr); err != nil {
			fault("--%s must be HOST:PORT, not %q", flag, addr)
		}
	}
	if s.PublicURL != "" {
		if u, err := url.Parse(s.PublicURL); err != nil || u.Host == "" || (u.Scheme != "http" && u.Scheme != "https") {
			fault("--public-url must be an http:// or https:// address, not %q", s.PublicURL)
		}
	}
	return faults
}
