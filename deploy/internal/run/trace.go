package run

import (
	"context"
	"fmt"
	"os"

	"go.opentelemetry.io/otel/attribute"
	"go.opentelemetry.io/otel/exporters/otlp/otlptrace/otlptracegrpc"
	"go.opentelemetry.io/otel/sdk/resource"
	sdktrace "go.opentelemetry.io/otel/sdk/trace"

	"github.com/pikepole/pikepole/services/platform/build"
)

// trace exports spans when the standard OTEL_EXPORTER_OTLP_ENDPOINT (or its variant for
// traces) says where to; without it no spans are made.
func (s *Suite) trace(ctx context.Context) error {
	if os.Getenv("OTEL_EXPORTER_OTLP_ENDPOINT") == "" && os.Getenv("OTEL_EXPORTER_OTLP_TRACES_ENDPOINT") == "" {
		return nil
	}
	exporter, err := otlptracegrpc.New(ctx)
	if err != nil {
		return fmt.Errorf("trace exporter: %w", err)
	}
	attributes := resource.NewSchemaless(
		attribute.String("service.name", "pikepole"),
		attribute.String("service.version", build.Version),
		attribute.StringSlice("pikepole.parts", s.config.Parts),
	)
	// The environment (OTEL_SERVICE_NAME, OTEL_RESOURCE_ATTRIBUTES) wins over what is built in.
	environment, err := resource.New(ctx, resource.WithFromEnv())
	if err != nil {
		return fmt.Errorf("trace resource: %w", err)
	}
	merged, err := resource.Merge(attributes, environment)
	if err != nil {
		return fmt.Errorf("trace resource: %w", err)
	}
	provider := sdktrace.NewTracerProvider(sdktrace.WithBatcher(exporter), sdktrace.WithResource(merged))
	s.tracer = provider
	s.closing(provider.Shutdown)
	return nil
}
