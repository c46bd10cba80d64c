package demo

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/identity"
)

// state is what is remembered between starts in one data folder.
type state struct {
	// Start is when the data was first loaded; the days of the log count back from it.
	Start     time.Time                `json:"start"`
	Companies map[string]*companyState `json:"companies"`
	Jobs      map[string]string        `json:"jobs"`

	file string
}

type companyState struct {
	// People are the ids of people by role.
	People map[string]string `json:"people"`
	// KeyIDs are the keys of the last start; their secrets are not kept.
	KeyIDs []string `json:"keyIds"`
	Loaded bool     `json:"loaded"`
}

func readState(file string, now time.Time) (*state, error) {
	s := &state{Start: now.UTC(), Companies: map[string]*companyState{}, Jobs: map[string]string{}, file: file}
	text, err := os.ReadFile(file)
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return s, s.save()
	case err != nil:
		return nil, fmt.Errorf("demo: %w", err)
	}
	if err := json.Unmarshal(text, s); err != nil {
		return nil, fmt.Errorf("demo: %s is damaged (%w): remove the data folder and start again", file, err)
	}
	return s, nil
}

func (s *state) save() error {
	text, err := json.MarshalIndent(s, "", "  ")
	if err != nil {
		return err
	}
	return WriteFile(s.file, append(text, '\n'))
}

// letIn makes the company and its people where they are missing, and a new key for each.
func (s *state) letIn(ctx context.Context, operator Operator, c company) (map[string]string, error) {
	known := s.Companies[c.ID]
	if known == nil {
		known = &companyState{People: map[string]string{}}
		s.Companies[c.ID] = known
		if err := operator.CreateCompany(ctx, c.ID, c.Name); err != nil && !fault.Is(err, fault.AlreadyExists) {
			return nil, err
		}
	}
	before := known.KeyIDs
	keys := map[string]string{}
	known.KeyIDs = nil
	for _, p := range c.People {
		if known.People[p.Role] == "" {
			id, err := operator.CreatePersonIn(ctx, c.ID, p.Name, []identity.Role{identity.Role(p.Role)})
			if err != nil {
				return nil, fmt.Errorf("%s: %w", p.Name, err)
			}
			known.People[p.Role] = id
			if err := s.save(); err != nil {
				return nil, err
			}
		}
		key, err := operator.CreateKeyIn(ctx, c.ID, known.People[p.Role], "demo, "+p.Role)
		if err != nil {
			return nil, fmt.Errorf("key for %s: %w", p.Name, err)
		}
		keys[p.Role] = key
		known.KeyIDs = append(known.KeyIDs, keyID(key))
	}
	for _, id := range before {
		if err := operator.RevokeKey(ctx, c.ID, id); err != nil && !fault.Is(err, fault.NotFound) {
			return nil, fmt.Errorf("revoke the key of the start before: %w", err)
		}
	}
	return keys, s.save()
}

// keyID is the middle of pk_<id>_<secret>.
func keyID(key string) string {
	parts := strings.SplitN(key, "_", 3)
	if len(parts) < 3 {
		return ""
	}
	return parts[1]
}

// WriteFile writes a file for its owner alone, and whole or not at all: who waits for it
// never reads half of it.
func WriteFile(file string, content []byte) error {
	f, err := os.CreateTemp(filepath.Dir(file), "."+filepath.Base(file)+"-*")
	if err != nil {
		return err
	}
	_, err = f.Write(content)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Rename(f.Name(), file)
	}
	if err != nil {
		return errors.Join(err, os.Remove(f.Name()))
	}
	return nil
}
