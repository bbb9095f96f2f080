# A static binary on an empty image: nothing in it to patch but Sensewright itself.

FROM rust:1.95-slim-bookworm AS builder
WORKDIR /src
COPY . .
# `+crt-static` links the C library in, so that the final image needs none.
# The explicit target keeps that flag away from build scripts and macros, which run here and cannot be static.
ENV RUSTFLAGS="-C target-feature=+crt-static"
RUN target="$(rustc --print host-tuple)" \
    && cargo build --release --locked --package sensewright-server --target "$target" \
    && install -D "target/$target/release/sensewright-server" /out/sensewright-server

FROM scratch
COPY --from=builder /out/sensewright-server /sensewright-server
# A number, because an empty image has no list of users; any that is not 0 will do.
USER 65532:65532
# Inside a container the loopback address would be reachable from nowhere.
ENV SENSEWRIGHT_LISTEN=0.0.0.0:8080
EXPOSE 8080
# The image has no shell and no client, so the binary asks its own health address.
HEALTHCHECK --interval=30s --timeout=3s --start-period=2s --retries=3 CMD ["/sensewright-server", "--check"]
ENTRYPOINT ["/sensewright-server"]
