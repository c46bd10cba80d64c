package rigging

import (
	"context"

	"google.golang.org/protobuf/proto"

	riggingv1 "github.com/pikepole/pikepole/proto/gen/pikepole/rigging/v1"
	sheetv1 "github.com/pikepole/pikepole/proto/gen/pikepole/sheet/v1"
	"github.com/pikepole/pikepole/services/internal/sheet"
	"github.com/pikepole/pikepole/services/platform/identity"
	"github.com/pikepole/pikepole/services/platform/page"
	"github.com/pikepole/pikepole/services/platform/store"
)

// maxPage is the largest page of a list.
const maxPage = 200

// ListCranes lists the cranes of the caller's company by id.
func (s *Service) ListCranes(ctx context.Context, req *riggingv1.ListCranesRequest) (*riggingv1.ListCranesResponse, error) {
	items, next, err := listed(ctx, s, cranes(), req.GetPageSize(), req.GetPageToken())
	return &riggingv1.ListCranesResponse{Cranes: items, NextPageToken: next}, err
}

// GetCrane gives one crane of the caller's company.
func (s *Service) GetCrane(ctx context.Context, req *riggingv1.GetCraneRequest) (*riggingv1.Crane, error) {
	return got(ctx, s, cranes(), req.GetCrane())
}

// PutCrane puts a crane into the caller's company book, new or in place of the old.
func (s *Service) PutCrane(ctx context.Context, req *riggingv1.PutCraneRequest) (*riggingv1.Crane, error) {
	if err := checkCrane(req.GetCrane()); err != nil {
		return nil, err
	}
	return stored(ctx, s, cranes(), req.GetCrane())
}

// ListGear lists the gear of the caller's company by id.
func (s *Service) ListGear(ctx context.Context, req *riggingv1.ListGearRequest) (*riggingv1.ListGearResponse, error) {
	items, next, err := listed(ctx, s, gears(), req.GetPageSize(), req.GetPageToken())
	return &riggingv1.ListGearResponse{Gear: items, NextPageToken: next}, err
}

// GetGear gives one record of gear of the caller's company.
func (s *Service) GetGear(ctx context.Context, req *riggingv1.GetGearRequest) (*riggingv1.Gear, error) {
	return got(ctx, s, gears(), req.GetItem())
}

// PutGear puts gear into the caller's company book, new or in place of the old.
func (s *Service) PutGear(ctx context.Context, req *riggingv1.PutGearRequest) (*riggingv1.Gear, error) {
	if err := checkGear(req.GetGear()); err != nil {
		return nil, err
	}
	return stored(ctx, s, gears(), req.GetGear())
}

// GetPicks gives every pick of a frame with the job's crane and the company's gear.
func (s *Service) GetPicks(ctx context.Context, req *riggingv1.GetPicksRequest) (*riggingv1.Picks, error) {
	return s.picks(ctx, req.GetJob(), req.GetRevision())
}

// RenderPicks gives the picks as CSV or HTML.
func (s *Service) RenderPicks(ctx context.Context, req *riggingv1.RenderPicksRequest) (*sheetv1.Document, error) {
	if err := sheet.Check(req.GetFormat()); err != nil {
		return nil, err
	}
	p, err := s.picks(ctx, req.GetJob(), req.GetRevision())
	if err != nil {
		return nil, err
	}
	if req.GetFormat() == sheet.CSV {
		return sheet.File("picks", p.GetComputedFrom(), pickTable(p)), nil
	}
	return pickPage(p).Document("picks"), nil
}

// listed gives a page of one shelf of the caller's company and the token of the next.
func listed[T item](ctx context.Context, s *Service, sh shelf[T], size int32, token string) ([]T, string, error) {
	caller, err := identity.From(ctx)
	if err != nil {
		return nil, "", err
	}
	limit, err := page.Size(size, maxPage)
	if err != nil {
		return nil, "", err
	}
	cursor, err := page.Decode(sh.table, caller.Company, token)
	if err != nil {
		return nil, "", err
	}
	after := ""
	if len(cursor) > 0 {
		if after = cursor[0]; len(cursor) != 1 || !validID(after) {
			return nil, "", page.Refused()
		}
	}
	var items []T
	err = s.db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		items, err = sh.list(ctx, tx, caller.Company, after, limit+1)
		return err
	})
	if err != nil || len(items) <= limit {
		return items, "", err
	}
	return items[:limit], page.Encode(sh.table, caller.Company, items[limit-1].GetId()), nil
}

// got gives one item of the caller's company.
func got[T item](ctx context.Context, s *Service, sh shelf[T], id string) (T, error) {
	var it T
	caller, err := identity.From(ctx)
	if err != nil {
		return it, err
	}
	err = s.db.Read(ctx, func(ctx context.Context, tx *store.Tx) error {
		it, err = sh.get(ctx, tx, caller.Company, id)
		return err
	})
	return it, err
}

// stored puts a checked item into the caller's company book.
func stored[T item](ctx context.Context, s *Service, sh shelf[T], given T) (T, error) {
	var it T
	caller, err := identity.From(ctx)
	if err != nil {
		return it, err
	}
	err = s.db.Write(ctx, func(ctx context.Context, tx *store.Tx) error {
		it, err = sh.store(ctx, tx, caller.Company, proto.CloneOf(given), store.Micros(s.now()))
		return err
	})
	return it, err
}
