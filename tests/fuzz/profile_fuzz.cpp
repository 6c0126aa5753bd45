// SPDX-License-Identifier: MIT
// Any bytes as a profile: an error of a file, or a profile that is written and read back the same.
#include "host/record/profile_json.hpp"
#include "tests/fuzz/promise.hpp"

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
    using namespace yokedock::record;
    using yokedock::test::promise;
    const auto profile =
        profile_from_text(std::string(reinterpret_cast<const char*>(data), size), "fuzz.json");
    if (!profile) {
        promise(profile.error().kind == yokedock::ErrorKind::kFile, "a bad file is a file error");
        return 0;
    }
    for (const ProfileAxis* axis : {&profile.value().vertical, &profile.value().horizontal}) {
        promise(!axis->visible_us || axis->visible_us->from < axis->visible_us->to,
                "what is visible has a length");
    }
    const std::string text = profile_to_json(profile.value()).dump();
    const auto again = profile_from_text(text, "again.json");
    promise(again.ok() && profile_to_json(again.value()).dump() == text,
            "it is read back the same");
    return 0;
}
