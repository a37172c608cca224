#!/bin/sh
# Installs PostgreSQL if need be, starts a throw-away server on 127.0.0.1 and prints its URL.
#   export ROOMFIELD_TEST_POSTGRES="$(.ci/postgres.sh start)"
#   .ci/postgres.sh stop
set -eu
port="${ROOMFIELD_POSTGRES_PORT:-54329}"
if [ "$(id -u)" = 0 ]; then
    home="${ROOMFIELD_POSTGRES_HOME:-/var/lib/postgresql/roomfield-$port}" # the owner of the server must reach it
else
    home="${ROOMFIELD_POSTGRES_HOME:-$HOME/.cache/roomfield-postgres-$port}"
fi

find_programs() {
    ls -d /usr/lib/postgresql/*/bin 2>/dev/null | sort -V | tail -1
}

as_owner() {
    if [ "$(id -u)" = 0 ]; then
        runuser -u postgres -- "$@"
    else
        "$@"
    fi
}

start() {
    if [ -z "$(find_programs)" ] && [ "$(id -u)" = 0 ]; then
        { apt-get update && DEBIAN_FRONTEND=noninteractive apt-get install -y postgresql; } >&2
    fi
    programs="$(find_programs)"
    if [ -z "$programs" ]; then
        echo "PostgreSQL is not installed, and only root can install it." >&2
        exit 1
    fi
    if [ ! -d "$home/data" ]; then
        mkdir -p "$home"
        [ "$(id -u)" != 0 ] || chown postgres "$home"
        as_owner "$programs/initdb" -D "$home/data" -U roomfield --auth=trust -E UTF8 --locale=C >&2
    fi
    if ! as_owner "$programs/pg_ctl" -D "$home/data" status >/dev/null 2>&1; then
        as_owner "$programs/pg_ctl" -D "$home/data" -l "$home/log" -w \
            -o "-p $port -c listen_addresses=127.0.0.1 -c unix_socket_directories=$home" start >&2
    fi
    echo "postgresql://roomfield@127.0.0.1:$port/postgres"
}

stop() {
    programs="$(find_programs)"
    as_owner "$programs/pg_ctl" -D "$home/data" -m fast stop >&2
    rm -rf "$home"
}

case "${1:-start}" in
    start) start ;;
    stop) stop ;;
    *) echo "usage: $0 start|stop" >&2; exit 2 ;;
esac
