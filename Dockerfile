# A static binary on an empty image: nothing in it to patch but Sensewright itself.
#
#   docker build --build-arg BUILDER=rust:1.95-slim-bookworm@sha256:<digest> .
#
# With a digest the same builder is taken for ever; without one, the newest of this name.
ARG BUILDER=rust:1.95-slim-bookworm

FROM ${BUILDER} AS builder
WORKDIR /src
COPY server/image/build server/image/
COPY Cargo.toml Cargo.lock ./
COPY core/Cargo.toml core/
COPY web/Cargo.toml web/
COPY server/Cargo.toml server/
COPY tests/Cargo.toml tests/
# Libraries come first: while none of the files above changes, this layer is taken from the last build.
RUN server/image/build --libraries
COPY . .
RUN server/image/build /out

FROM scratch
COPY --from=builder /out /
# A number, because an empty image has no list of users; any that is not 0 will do.
USER 65532:65532
# Inside a container the loopback address would be reachable from nowhere.
ENV SENSEWRIGHT_LISTEN=0.0.0.0:8080
EXPOSE 8080
# The image has no shell and no client, so the binary asks its own health address.
HEALTHCHECK --interval=30s --timeout=3s --start-period=2s --retries=3 CMD ["/sensewright-server", "--check"]
ENTRYPOINT ["/sensewright-server"]
