# A static binary on an empty image: nothing in it to patch but Sensewright itself.
#
#   docker build --build-arg BUILDER=rust:1.95-slim-bookworm@sha256:<digest> .
#
# With a digest the same builder is taken for ever; without one, the newest of this name.
ARG BUILDER=rust:1.95-slim-bookworm

FROM ${BUILDER} AS builder
WORKDIR /src
COPY . .
# `+crt-static` links the C library in, so that the final image needs none.
# The explicit target keeps that flag away from build scripts and macros, which run here and cannot be static.
ENV RUSTFLAGS="-C target-feature=+crt-static"
RUN target="$(rustc --print host-tuple)" \
    && cargo build --release --locked --package sensewright-server --target "$target" \
    && install -D "target/$target/release/sensewright-server" /out/sensewright-server \
    && test "$(stat -c %s /out/sensewright-server)" -le 26214400
# The licence of each library asks for its text to go with the binary.
RUN mkdir -p /out/licences \
    && cp LICENSE-MIT LICENSE-APACHE /out/licences/ \
    && for folder in "$CARGO_HOME"/registry/src/*/*/; do \
         name="$(basename "$folder")"; \
         for text in "$folder"LICEN[CS]E* "$folder"COPYING* "$folder"NOTICE*; do \
           if [ -f "$text" ]; then install -D -m 644 "$text" "/out/licences/$name/$(basename "$text")"; fi; \
         done; \
       done

FROM scratch
COPY --from=builder /out/sensewright-server /sensewright-server
COPY --from=builder /out/licences /licences
# A number, because an empty image has no list of users; any that is not 0 will do.
USER 65532:65532
# Inside a container the loopback address would be reachable from nowhere.
ENV SENSEWRIGHT_LISTEN=0.0.0.0:8080
EXPOSE 8080
# The image has no shell and no client, so the binary asks its own health address.
HEALTHCHECK --interval=30s --timeout=3s --start-period=2s --retries=3 CMD ["/sensewright-server", "--check"]
ENTRYPOINT ["/sensewright-server"]
