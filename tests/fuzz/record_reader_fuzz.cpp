// SPDX-License-Identifier: MIT
// Any bytes as a record: an error or a record that is written and read back the same.
#include "host/record/record.hpp"
#include <cstdio>
#include <cstdlib>

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
    using namespace yokedock::record;
    const auto record =
        from_json_text(std::string(reinterpret_cast<const char*>(data), size), "fuzz.json");
    if (record) {
        const std::string text = to_json_text(record.value());
        const auto again = from_json_text(text, "fuzz.json");
        if (!again || to_json_text(again.value()) != text) {
            std::fputs("a record that was read is not written back the same\n", stderr);
            std::abort();
        }
    }
    return 0;
}
