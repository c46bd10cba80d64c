package command

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"text/tabwriter"
	"time"

	"go.uber.org/zap"
	"google.golang.org/protobuf/types/known/timestamppb"

	"github.com/pikepole/pikepole/deploy/internal/config"
	"github.com/pikepole/pikepole/deploy/internal/run"
	"github.com/pikepole/pikepole/services/access"
	"github.com/pikepole/pikepole/services/platform/identity"
)

// keys works on the access store directly, so it needs the store's address or the data
// folder and no credentials.
type keys struct {
	config.Storage

	Company companyCmd `cmd:"" help:"Make a company."`
	Person  personCmd  `cmd:"" help:"Add a person to a company and print their id."`
	New     newCmd     `cmd:"" help:"Make a key for a person and print it; it is not shown again."`
	List    listCmd    `cmd:"" help:"List companies, or the people and keys of one."`
	Revoke  revokeCmd  `cmd:"" help:"Revoke a key; tokens made from it end within five minutes."`
	Link    linkCmd    `cmd:"" help:"Make a one-time sign-in link for a person and print it."`
}

// with opens the access service on its store for the time of one command.
func (k *keys) with(ctx context.Context, do func(*access.Service) error) error {
	db, err := run.OpenStore(ctx, k.Storage, "access", zap.NewNop(), nil)
	if err != nil {
		return err
	}
	service, err := access.New(access.Config{DB: db})
	if err != nil {
		return errors.Join(err, db.Close())
	}
	err = service.Migrate(ctx)
	if err == nil {
		err = do(service)
	}
	return errors.Join(err, service.Close(), db.Close())
}

type companyCmd struct {
	ID   string `arg:"" help:"Short id that stays: a-z, 0-9 and hyphen."`
	Name string `arg:"" help:"Name as people read it."`
}

// Run makes the company.
func (c *companyCmd) Run(ctx context.Context, k *keys) error {
	return k.with(ctx, func(s *access.Service) error { return s.CreateCompany(ctx, c.ID, c.Name) })
}

type personCmd struct {
	Company string   `arg:"" help:"Id of the company."`
	Name    string   `arg:"" help:"Name as others see it."`
	Role    []string `required:"" enum:"estimator,shop,lead,field,viewer,admin" help:"What they may do: estimator, shop, lead, field, viewer, admin; several with commas."`
}

// Run adds the person.
func (c *personCmd) Run(ctx context.Context, call Call, k *keys) error {
	roles := make([]identity.Role, len(c.Role))
	for i, r := range c.Role {
		roles[i] = identity.Role(r)
	}
	return k.with(ctx, func(s *access.Service) error {
		id, err := s.CreatePersonIn(ctx, c.Company, c.Name, roles)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(call.Stdout, id)
		return err
	})
}

type newCmd struct {
	Company string `arg:"" help:"Id of the company."`
	Person  string `arg:"" help:"Id of the person."`
	Label   string `required:"" help:"What the key is for."`
}

// Run makes the key.
func (c *newCmd) Run(ctx context.Context, call Call, k *keys) error {
	return k.with(ctx, func(s *access.Service) error {
		key, err := s.CreateKeyIn(ctx, c.Company, c.Person, c.Label)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(call.Stdout, key)
		return err
	})
}

type listCmd struct {
	Company string `arg:"" optional:"" help:"Id of the company; without it the companies are listed."`
}

// Run lists.
func (c *listCmd) Run(ctx context.Context, call Call, k *keys) error {
	out := tabwriter.NewWriter(call.Stdout, 0, 0, 2, ' ', 0)
	err := k.with(ctx, func(s *access.Service) error {
		if c.Company == "" {
			return listCompanies(ctx, s, out)
		}
		return listCompany(ctx, s, c.Company, out)
	})
	return errors.Join(err, out.Flush())
}

func listCompanies(ctx context.Context, s *access.Service, out *tabwriter.Writer) error {
	companies, err := s.Companies(ctx)
	if err != nil {
		return err
	}
	fmt.Fprintln(out, "COMPANY\tNAME\tSINCE")
	for _, c := range companies {
		fmt.Fprintf(out, "%s\t%s\t%s\n", c.ID, c.Name, c.CreateTime.Format(time.RFC3339))
	}
	return nil
}

func listCompany(ctx context.Context, s *access.Service, company string, out *tabwriter.Writer) error {
	people, err := s.PeopleIn(ctx, company)
	if err != nil {
		return err
	}
	fmt.Fprintln(out, "PERSON\tNAME\tROLES\tMAY SIGN IN")
	for _, p := range people {
		roles := make([]string, len(p.GetRoles()))
		for i, r := range p.GetRoles() {
			roles[i] = strings.ToLower(strings.TrimPrefix(r.String(), "ROLE_"))
		}
		may := "yes"
		if p.GetDisabled() {
			may = "no"
		}
		fmt.Fprintf(out, "%s\t%s\t%s\t%s\n", p.GetId(), p.GetName(), strings.Join(roles, ","), may)
	}
	all, err := s.KeysIn(ctx, company)
	if err != nil {
		return err
	}
	fmt.Fprintln(out, "\nKEY\tPERSON\tLABEL\tSINCE\tLAST USED\tREVOKED")
	for _, key := range all {
		fmt.Fprintf(out, "%s\t%s\t%s\t%s\t%s\t%s\n", key.GetId(), key.GetPerson(), key.GetLabel(),
			timeOr(key.GetCreateTime(), "never"), timeOr(key.GetLastUsedTime(), "never"), timeOr(key.GetRevokeTime(), "no"))
	}
	return nil
}

func timeOr(t *timestamppb.Timestamp, absent string) string {
	if t == nil {
		return absent
	}
	return t.AsTime().Format(time.RFC3339)
}

type revokeCmd struct {
	Company string `arg:"" help:"Id of the company."`
	Key     string `arg:"" help:"Id of the key: its middle part."`
}

// Run revokes the key.
func (c *revokeCmd) Run(ctx context.Context, k *keys) error {
	return k.with(ctx, func(s *access.Service) error { return s.RevokeKey(ctx, c.Company, c.Key) })
}

type linkCmd struct {
	Company   string `arg:"" help:"Id of the company."`
	Person    string `arg:"" help:"Id of the person."`
	PublicURL string `name:"public-url" default:"http://127.0.0.1:8080" help:"Address at which people open the pages." placeholder:"URL"`
}

// Run makes the link.
func (c *linkCmd) Run(ctx context.Context, call Call, k *keys) error {
	return k.with(ctx, func(s *access.Service) error {
		code, err := s.CreateSignInLinkIn(ctx, c.Company, c.Person)
		if err != nil {
			return err
		}
		_, err = fmt.Fprintln(call.Stdout, strings.TrimSuffix(c.PublicURL, "/")+access.SignInPath(code))
		return err
	})
}
