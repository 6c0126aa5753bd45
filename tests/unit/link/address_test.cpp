// SPDX-License-Identifier: MIT
#include "host/link/address.hpp"
#include <catch2/catch.hpp>

using namespace yokedock;
using namespace yokedock::link;

TEST_CASE("an address of each kind is taken apart") {
    const auto serial = parse_address("serial:/dev/ttyACM0");
    REQUIRE(serial.ok());
    CHECK(serial.value().kind == AddressKind::kSerial);
    CHECK(serial.value().target == "/dev/ttyACM0");
    const auto tcp = parse_address("tcp:127.0.0.1:4100");
    REQUIRE(tcp.ok());
    CHECK(tcp.value().kind == AddressKind::kTcp);
    CHECK(tcp.value().target == "127.0.0.1");
    CHECK(tcp.value().port == "4100");
    const auto v6 = parse_address("tcp:[::1]:4100");
    REQUIRE(v6.ok());
    CHECK(v6.value().target == "::1");
    const auto local = parse_address("unix:/run/a:b.sock");
    REQUIRE(local.ok());
    CHECK(local.value().kind == AddressKind::kUnix);
    CHECK(local.value().target == "/run/a:b.sock");
}

TEST_CASE("an address that is none is refused as wrong usage and told what is missing") {
    const std::pair<const char*, const char*> cases[] = {
        {"", "no kind of link"},
        {"/dev/ttyACM0", "lacks \"serial:\""},
        {"usb:0", "\"usb\" is no kind of link"},
        {"serial:", "the path is empty"},
        {"unix:", "the path is empty"},
        {"tcp:localhost", "no port number"},
        {"tcp::4100", "host name is empty"},
        {"tcp:localhost:0", "port \"0\""},
        {"tcp:localhost:65536", "port \"65536\""},
        {"tcp:localhost:41x", "port \"41x\""},
        {"tcp:::1:4100", "brackets"},
    };
    for (const auto& [text, why] : cases) {
        const auto address = parse_address(text);
        REQUIRE_FALSE(address.ok());
        CHECK(address.error().kind == ErrorKind::kUsage);
        CHECK_THAT(address.error().text, Catch::Contains(why) && Catch::Contains("expected"));
    }
}

TEST_CASE("a bench that is not there gives a link error with the address and what to do") {
    for (const char* text :
         {"serial:/dev/no-such-port", "unix:/no/such/socket", "tcp:127.0.0.1:1"}) {
        const auto opened = open_transport(parse_address(text).value());
        REQUIRE_FALSE(opened.ok());
        CHECK(opened.error().kind == ErrorKind::kLink);
        CHECK_THAT(opened.error().text, Catch::Contains(text) && Catch::Contains("expected"));
    }
}
