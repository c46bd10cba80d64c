package page

import (
	"bytes"
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"mime"
	"net/http"
	"path"
	"time"

	"github.com/pikepole/pikepole/gateway/internal/call"
)

//go:embed asset
var assetFiles embed.FS

// routeAssets serves the style sheet, the script and the sign of the pages.
func (s *Site) routeAssets() error {
	entries, err := assetFiles.ReadDir("asset")
	if err != nil {
		return fmt.Errorf("list the assets: %w", err)
	}
	for _, entry := range entries {
		name := entry.Name()
		content, err := assetFiles.ReadFile("asset/" + name)
		if err != nil {
			return fmt.Errorf("read an asset: %w", err)
		}
		s.mux.HandleFunc("GET /"+name, asset(name, content))
	}
	return nil
}

// asset serves a file that the browser may keep but asks about each time; the answer is then short.
func asset(name string, content []byte) http.HandlerFunc {
	sum := sha256.Sum256(content)
	etag := `"` + hex.EncodeToString(sum[:8]) + `"`
	mediaType := mime.TypeByExtension(path.Ext(name))
	return func(w http.ResponseWriter, r *http.Request) {
		call.From(r.Context()).Route = "/" + name
		header := w.Header()
		header.Set("Content-Type", mediaType)
		header.Set("Cache-Control", "public, no-cache")
		header.Set("ETag", etag)
		http.ServeContent(w, r, name, time.Time{}, bytes.NewReader(content))
	}
}
