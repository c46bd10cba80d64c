package config

import (
	"fmt"
	"io"
	"net/url"
	"strings"

	"github.com/alecthomas/kong"
	"gopkg.in/yaml.v3"
)

// Print writes the settings as a settings file, each with a comment that says where it came
// from. Secrets are masked.
func Print(w io.Writer, flags []*kong.Flag, s *Source) error {
	for _, f := range flags {
		if !s.known[f.Name] {
			continue
		}
		value := fmt.Sprint(f.Target.Interface())
		if list, ok := f.Target.Interface().([]string); ok {
			value = strings.Join(list, ",")
		}
		if f.Tag.Has("secret") {
			value = Mask(value)
		}
		text, err := yaml.Marshal(map[string]string{f.Name: value})
		if err != nil {
			return err
		}
		if _, err := fmt.Fprintf(w, "%s # %s\n", text[:len(text)-1], s.Origin(f)); err != nil {
			return err
		}
	}
	return nil
}

// Mask hides the secrets of an address: its password and the values of its query. What is
// not an address is hidden as a whole.
func Mask(address string) string {
	const hidden = "***"
	if address == "" {
		return ""
	}
	u, err := url.Parse(address)
	if err != nil || u.Scheme == "" || u.Opaque != "" {
		return hidden
	}
	if _, has := u.User.Password(); has {
		u.User = url.UserPassword(u.User.Username(), hidden)
	}
	if q := u.Query(); q.Has("password") {
		q.Set("password", hidden)
		u.RawQuery = q.Encode()
	}
	text, err := url.PathUnescape(u.String())
	if err != nil {
		return hidden
	}
	return text
}
