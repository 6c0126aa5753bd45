// SPDX-License-Identifier: MIT
// Any bytes as a profile: an error, mistakes with lines that exist, or a profile that is written
// and read back the same.
#include "host/record/profile.hpp"
#include "tests/fuzz/promise.hpp"
#include <algorithm>

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
    using namespace yokedock::record;
    using yokedock::test::promise;
    const std::string text(reinterpret_cast<const char*>(data), size);
    const auto checked = check_profile_text(text, "fuzz.json");
    if (!checked) {
        return 0;
    }
    promise(checked.value().profile.has_value() == checked.value().mistakes.empty(),
            "a profile, or mistakes");
    const auto lines = 1 + std::count(text.begin(), text.end(), '\n');
    for (const ProfileMistake& mistake : checked.value().mistakes) {
        promise(mistake.line >= 1 && mistake.line <= lines && !mistake.expected.empty(),
                "a mistake is in a line that is there, and says what was expected");
    }
    if (checked.value().profile) {
        const std::string written = profile_text(*checked.value().profile);
        const auto again = check_profile_text(written, "fuzz.json");
        promise(again && again.value().profile && profile_text(*again.value().profile) == written,
                "a profile that was read is written back the same");
    }
    return 0;
}
