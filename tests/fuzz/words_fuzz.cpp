// SPDX-License-Identifier: MIT
// Any bytes as the words a user types: a bench's address, a rate. What is accepted means what it
// says.
#include "host/cli/sync_options.hpp"
#include "host/link/address.hpp"
#include "tests/fuzz/promise.hpp"
#include <numeric>

using namespace yokedock;

namespace {

std::string kind_text(link::AddressKind kind) {
    switch (kind) {
    case link::AddressKind::kSerial:
        return "serial:";
    case link::AddressKind::kTcp:
        return "tcp:";
    case link::AddressKind::kUnix:
        return "unix:";
    }
    return "none";
}

void try_address(const std::string& text) {
    const auto address = link::parse_address(text);
    if (!address) {
        test::promise(address.error().kind == ErrorKind::kUsage, "no address is a usage error");
        return;
    }
    const link::Address& a = address.value();
    test::promise(a.text == text && !a.target.empty(), "an address has a target");
    const std::string kind = kind_text(a.kind);
    if (a.kind == link::AddressKind::kTcp) {
        const unsigned long port = std::stoul(a.port);
        test::promise(port >= 1 && port <= 65535, "a port is from 1 to 65535");
        test::promise(text == kind + a.target + ":" + a.port ||
                          text == kind + "[" + a.target + "]:" + a.port,
                      "its parts are the text");
    } else {
        test::promise(text == kind + a.target, "its parts are the text");
    }
}

void try_ratio(const std::string& text) {
    const auto ratio = cli::exact_ratio(text, "--line-rate-hz");
    if (!ratio) {
        return;
    }
    const auto [numerator, denominator] = ratio.value();
    test::promise(numerator > 0 && denominator > 0 && std::gcd(numerator, denominator) == 1,
                  "a ratio is in lowest terms");
    const double value = std::strtod(text.c_str(), nullptr); // the C library as the other opinion
    const double got = static_cast<double>(numerator) / denominator;
    test::promise(got >= value * (1 - 1e-15) && got <= value * (1 + 1e-15), "it is the number");
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
    const std::string text(reinterpret_cast<const char*>(data), size);
    try_address(text);
    try_ratio(text);
    return 0;
}
