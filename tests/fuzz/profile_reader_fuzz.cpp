// SPDX-License-Identifier: MIT
// Any bytes as a profile: an error, mistakes with lines that exist, or a profile that is written
// and read back the same.
#include "host/record/profile.hpp"
#include <algorithm>
#include <cstdio>
#include <cstdlib>

namespace {

[[noreturn]] void fail(const char* what) {
    std::fprintf(stderr, "%s\n", what);
    std::abort();
}

} // namespace

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
    using namespace yokedock::record;
    const std::string text(reinterpret_cast<const char*>(data), size);
    const auto checked = check_profile_text(text, "fuzz.json");
    if (!checked) {
        return 0;
    }
    if (checked.value().profile.has_value() != checked.value().mistakes.empty()) {
        fail("a profile with mistakes, or none without any");
    }
    const auto lines = 1 + std::count(text.begin(), text.end(), '\n');
    for (const ProfileMistake& mistake : checked.value().mistakes) {
        if (mistake.line < 1 || mistake.line > lines || mistake.expected.empty()) {
            fail("a mistake in a line that is not there");
        }
    }
    if (checked.value().profile) {
        const std::string written = profile_text(*checked.value().profile);
        const auto again = check_profile_text(written, "fuzz.json");
        if (!again || !again.value().profile || profile_text(*again.value().profile) != written) {
            fail("a profile that was read is not written back the same");
        }
    }
    return 0;
}
