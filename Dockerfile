# Static binary on an empty image: non-root, read-only root, state in a volume.
#   docker build -t pumpside .
#   docker run --read-only -v pumpside-state:/var/lib/pumpside -v ./pumpside.yaml:/etc/pumpside/pumpside.yaml:ro pumpside
# For a serial line add --device and the group that owns it.
FROM golang:1.26 AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
ARG VERSION=devel
RUN VERSION=${VERSION} .ci/build /out/pumpside && mkdir -p /out/state

FROM scratch
COPY --from=build /out/pumpside /pumpside
COPY --from=build /usr/share/zoneinfo /usr/share/zoneinfo
COPY --from=build /etc/ssl/certs/ca-certificates.crt /etc/ssl/certs/ca-certificates.crt
COPY --from=build --chown=65532:65532 /out/state /var/lib/pumpside
COPY LICENSE NOTICE /
USER 65532:65532
VOLUME /var/lib/pumpside
EXPOSE 9793
ENTRYPOINT ["/pumpside"]
CMD ["run"]
