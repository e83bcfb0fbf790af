# Two stages: build a static binary, then ship nothing but it.
FROM golang:1.26 AS build
WORKDIR /src
COPY go.mod go.sum ./
RUN go mod download
COPY . .
RUN CGO_ENABLED=0 go build -trimpath -ldflags="-s -w" -o /out/lightwell ./cmd/lightwell \
 && install -d -o 65532 -g 65532 -m 0700 /out/data

FROM scratch
COPY --from=build /etc/ssl/certs/ca-certificates.crt /etc/ssl/certs/
COPY --from=build /usr/local/go/lib/time/zoneinfo.zip /usr/local/go/lib/time/zoneinfo.zip
ENV ZONEINFO=/usr/local/go/lib/time/zoneinfo.zip
COPY --from=build /out/lightwell /lightwell
COPY --from=build --chown=65532:65532 /out/data /data
USER 65532:65532
VOLUME /data
EXPOSE 8420
HEALTHCHECK --interval=30s --timeout=5s --start-period=10s CMD ["/lightwell", "health"]
ENTRYPOINT ["/lightwell"]
CMD ["run", "--config", "/etc/lightwell/lightwell.yaml", "--data", "/data"]
