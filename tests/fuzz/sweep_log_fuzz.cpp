// SPDX-License-Identifier: MIT
// Any bytes as a sweep log: an error, or a log that is written and read back the same.
#include "host/record/sweep_log.hpp"
#include "tests/unit/record/example_sweep.hpp"
#include <cstdio>
#include <cstdlib>

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
    using namespace yokedock::record;
    const std::string_view bytes(reinterpret_cast<const char*>(data), size);
    // The bytes alone, and after a good header: most random ones would never get past the first
    // line.
    for (const std::string& text :
         {std::string(bytes), header_line(example_header()) + std::string(bytes)}) {
        const auto log = sweep_log_from_text(text, "fuzz.jsonl");
        if (!log) {
            continue;
        }
        const std::string written = text_of(log.value());
        const auto again = sweep_log_from_text(written, "fuzz.jsonl");
        if (!again || text_of(again.value()) != written || !again.value().warning.empty()) {
            std::fputs("a sweep log that was read is not written back the same\n", stderr);
            std::abort();
        }
    }
    return 0;
}
