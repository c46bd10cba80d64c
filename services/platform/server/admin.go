package server

import (
	"context"
	"fmt"
	"maps"
	"net/http"
	"net/http/pprof"
	"slices"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus/promhttp"
	"google.golang.org/grpc/health/grpc_health_v1"
	reflectionv1 "google.golang.org/grpc/reflection/grpc_reflection_v1"
	reflectionv1alpha "google.golang.org/grpc/reflection/grpc_reflection_v1alpha"

	"github.com/pikepole/pikepole/services/platform/policy"
)

// watchTimeout ends health watches and reflection streams.
const watchTimeout = time.Hour

// readyTimeout bounds all checks of one question for readiness.
const readyTimeout = 5 * time.Second

// builtIn are the rows of health and reflection.
func builtIn() policy.Table {
	return policy.Table{
		grpc_health_v1.Health_Check_FullMethodName:                             {Public: true},
		grpc_health_v1.Health_List_FullMethodName:                              {Public: true},
		grpc_health_v1.Health_Watch_FullMethodName:                             {Public: true, Timeout: watchTimeout},
		reflectionv1.ServerReflection_ServerReflectionInfo_FullMethodName:      {Public: true, Timeout: watchTimeout},
		reflectionv1alpha.ServerReflection_ServerReflectionInfo_FullMethodName: {Public: true, Timeout: watchTimeout},
	}
}

func isBuiltIn(full string) bool { return strings.HasPrefix(full, "/grpc.") }

// Admin is the HTTP handler for those who run the server, not for callers: /metrics, /healthz
// (the process answers), /readyz (it takes calls, and all checks pass) and /debug/pprof.
func (s *Server) Admin() http.Handler {
	mux := http.NewServeMux()
	mux.Handle("GET /metrics", promhttp.HandlerFor(s.config.Registry, promhttp.HandlerOpts{Registry: s.config.Registry}))
	mux.HandleFunc("GET /healthz", func(w http.ResponseWriter, _ *http.Request) { answer(w, http.StatusOK, "ok") })
	mux.HandleFunc("GET /readyz", s.ready)
	mux.HandleFunc("/debug/pprof/", pprof.Index)
	mux.HandleFunc("/debug/pprof/cmdline", pprof.Cmdline)
	mux.HandleFunc("/debug/pprof/profile", pprof.Profile)
	mux.HandleFunc("/debug/pprof/symbol", pprof.Symbol)
	mux.HandleFunc("/debug/pprof/trace", pprof.Trace)
	return mux
}

func (s *Server) ready(w http.ResponseWriter, r *http.Request) {
	if !s.serving.Load() {
		answer(w, http.StatusServiceUnavailable, "not serving")
		return
	}
	ctx, cancel := context.WithTimeout(r.Context(), readyTimeout)
	defer cancel()
	for _, name := range slices.Sorted(maps.Keys(s.config.Ready)) {
		if err := s.config.Ready[name](ctx); err != nil {
			answer(w, http.StatusServiceUnavailable, fmt.Sprintf("%s: %v", name, err))
			return
		}
	}
	answer(w, http.StatusOK, "ready")
}

func answer(w http.ResponseWriter, code int, text string) {
	w.Header().Set("Content-Type", "text/plain; charset=utf-8")
	w.Header().Set("X-Content-Type-Options", "nosniff")
	w.WriteHeader(code)
	// The client may have gone; there is nobody left to tell.
	_, _ = fmt.Fprintln(w, text)
}
