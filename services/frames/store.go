package frames

import (
	"context"
	"errors"
	"fmt"
	"strconv"

	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/types/known/timestamppb"

	framesv1 "github.com/pikepole/pikepole/proto/gen/pikepole/frames/v1"
	"github.com/pikepole/pikepole/services/platform/fault"
	"github.com/pikepole/pikepole/services/platform/store"
)

// jobRow is a job as it is kept. Every change raises its version.
type jobRow struct {
	company string
	job     *framesv1.Job
	version int64
}

// frameRow is an issued revision as it is kept, without its body.
type frameRow struct {
	revision int32
	digest   string
	author   string
	note     string
	created  int64
}

const jobColumns = "id, title, customer, stage, crane, site, latest_revision, version, create_time, update_time"

// scanner is a row of either kind.
type scanner interface{ Scan(...any) error }

// scanJob reads the columns of jobColumns.
func scanJob(row scanner, company string) (jobRow, error) {
	r := jobRow{company: company, job: &framesv1.Job{}}
	var stage, latest int64
	var site []byte
	var created, updated int64
	err := row.Scan(&r.job.Id, &r.job.Title, &r.job.Customer, &stage, &r.job.Crane, &site, &latest, &r.version, &created, &updated)
	if err != nil {
		return r, err
	}
	if len(site) > 0 {
		r.job.Site = &framesv1.Site{}
		if err := proto.Unmarshal(site, r.job.Site); err != nil {
			return r, fmt.Errorf("read site of job %s: %w", r.job.Id, err)
		}
	}
	r.job.Stage, r.job.LatestRevision = framesv1.JobStage(stage), int32(latest)
	r.job.CreateTime, r.job.UpdateTime = timestamppb.New(store.Time(created)), timestamppb.New(store.Time(updated))
	r.job.Etag = etag(r.job.Id, r.version)
	return r, nil
}

// getJob reads one job of a company; there is no telling another company's job from none.
func getJob(ctx context.Context, tx *store.Tx, company, id string) (jobRow, error) {
	if !known(id) {
		return jobRow{}, noJob(id)
	}
	row := tx.QueryRow(ctx, "SELECT "+jobColumns+" FROM job WHERE company = ? AND id = ?", company, id)
	r, err := scanJob(row, company)
	if errors.Is(err, store.ErrNoRows) {
		return jobRow{}, noJob(id)
	}
	return r, err
}

// known says whether an id can be one that this service gave.
func known(id string) bool {
	if len(id) == 0 || len(id) > 40 {
		return false
	}
	for _, c := range []byte(id) {
		if (c < 'a' || c > 'z') && (c < '0' || c > '9') && c != '-' {
			return false
		}
	}
	return true
}

func noJob(id string) error {
	return fault.New(fault.NotFound, ReasonJob, "There is no job %s; list the jobs to see which there are.", quote(id))
}

// quote shows what a caller sent, cut to a length that fits in a sentence. Of a text of many megabytes no
// more than its beginning is looked at.
func quote(s string) string {
	n := 0
	for i := range s {
		if n == 60 {
			s = s[:i] + "…"
			break
		}
		n++
	}
	return strconv.Quote(s)
}

// insertJob keeps a new job.
func insertJob(ctx context.Context, tx *store.Tx, r jobRow) error {
	site, err := siteBytes(r.job.Site)
	if err != nil {
		return err
	}
	j := r.job
	_, err = tx.Exec(ctx, "INSERT INTO job (company, "+jobColumns+") VALUES (?, ?, ?, ?, ?, ?, ?, ?, ?, ?, ?)",
		r.company, j.Id, j.Title, j.Customer, int64(j.Stage), j.Crane, site, int64(j.LatestRevision), r.version,
		store.Micros(j.CreateTime.AsTime()), store.Micros(j.UpdateTime.AsTime()))
	return err
}

// updateJob keeps a changed job.
func updateJob(ctx context.Context, tx *store.Tx, r jobRow) error {
	site, err := siteBytes(r.job.Site)
	if err != nil {
		return err
	}
	j := r.job
	_, err = tx.Exec(ctx, `UPDATE job SET title = ?, customer = ?, stage = ?, crane = ?, site = ?, latest_revision = ?, version = ?, update_time = ?
		WHERE company = ? AND id = ?`,
		j.Title, j.Customer, int64(j.Stage), j.Crane, site, int64(j.LatestRevision), r.version, store.Micros(j.UpdateTime.AsTime()),
		r.company, j.Id)
	return err
}

// siteBytes writes a site down; no site is no bytes, and an empty site is the same as none.
func siteBytes(site *framesv1.Site) ([]byte, error) {
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(site)
	if err != nil {
		return nil, fmt.Errorf("write site: %w", err)
	}
	if b == nil {
		b = []byte{}
	}
	return b, nil
}

// listJobs reads jobs of a company, newest first, behind the one that was made at a time.
func listJobs(ctx context.Context, tx *store.Tx, company string, before int64, id string, limit int) ([]jobRow, error) {
	rows, err := tx.Query(ctx, "SELECT "+jobColumns+` FROM job
		WHERE company = ? AND (create_time < ? OR create_time = ? AND id < ?)
		ORDER BY create_time DESC, id DESC LIMIT ?`, company, before, before, id, limit)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []jobRow
	for rows.Next() {
		r, err := scanJob(rows, company)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, rows.Err()
}

const frameColumns = "revision, digest, author, note, create_time"

// scanFrame reads the columns of frameColumns and what follows them.
func scanFrame(row scanner, more ...any) (frameRow, error) {
	var r frameRow
	var revision int64
	err := row.Scan(append([]any{&revision, &r.digest, &r.author, &r.note, &r.created}, more...)...)
	r.revision = int32(revision)
	return r, err
}

// insertFrame keeps an issued revision for good.
func insertFrame(ctx context.Context, tx *store.Tx, company, job string, r frameRow, body []byte) error {
	_, err := tx.Exec(ctx, "INSERT INTO frame (company, job, "+frameColumns+", body) VALUES (?, ?, ?, ?, ?, ?, ?, ?)",
		company, job, int64(r.revision), r.digest, r.author, r.note, r.created, body)
	return err
}

// getFrame reads what stands beside one revision.
func getFrame(ctx context.Context, tx *store.Tx, company, job string, revision int32) (frameRow, error) {
	return scanFrame(tx.QueryRow(ctx, "SELECT "+frameColumns+" FROM frame WHERE company = ? AND job = ? AND revision = ?",
		company, job, int64(revision)))
}

// getBody reads the frame of one revision.
func getBody(ctx context.Context, tx *store.Tx, company, job string, revision int32) ([]byte, error) {
	var body []byte
	err := tx.QueryRow(ctx, "SELECT body FROM frame WHERE company = ? AND job = ? AND revision = ?",
		company, job, int64(revision)).Scan(&body)
	return body, err
}

// listFrames reads revisions of a job without their frames, newest first, below a number.
func listFrames(ctx context.Context, tx *store.Tx, company, job string, below int64, limit int) ([]frameRow, error) {
	rows, err := tx.Query(ctx, "SELECT "+frameColumns+` FROM frame
		WHERE company = ? AND job = ? AND revision < ? ORDER BY revision DESC LIMIT ?`, company, job, below, limit)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	var out []frameRow
	for rows.Next() {
		r, err := scanFrame(rows)
		if err != nil {
			return nil, err
		}
		out = append(out, r)
	}
	return out, rows.Err()
}
