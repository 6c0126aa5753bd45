// SPDX-License-Identifier: MIT
// Any bytes as a sweep log, and a good log with any bytes changed: an error, or a log that is
// written and read back the same.
#include "host/record/sweep_log.hpp"
#include "tests/unit/record/example_sweep.hpp"
#include <cstdio>
#include <cstdlib>

namespace {

using namespace yokedock::record;

void check(const std::string& text) {
    const auto log = sweep_log_from_text(text, "fuzz.jsonl");
    if (!log) {
        return;
    }
    const std::string written = text_of(log.value());
    const auto again = sweep_log_from_text(written, "fuzz.jsonl");
    if (!again || text_of(again.value()) != written || !again.value().warning.empty()) {
        std::fputs("a sweep log that was read is not written back the same\n", stderr);
        std::abort();
    }
}

/// Three bytes are one change: place (two bytes, scaled to the text) and the new byte.
std::string changed(std::string text, std::string_view edits) {
    for (std::size_t i = 0; i + 2 < edits.size(); i += 3) {
        const auto high = static_cast<unsigned char>(edits[i]);
        const auto low = static_cast<unsigned char>(edits[i + 1]);
        text[(256u * high + low) * text.size() / 65536u] = edits[i + 2];
    }
    return text;
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
    static const std::string header = header_line(example_header());
    static const std::string good = text_of(example_log());
    const std::string_view bytes(reinterpret_cast<const char*>(data), size);
    check(std::string(bytes));
    check(header + std::string(bytes)); // most bytes would never get past the first line
    check(changed(good, bytes.substr(0, 30)));
    return 0;
}
