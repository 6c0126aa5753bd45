// SPDX-License-Identifier: MIT
// Any bytes as a catalogue of faults: an error that names the file, or a catalogue on which a
// diagnosis gives probabilities.
#include "host/diagnose/diagnose.hpp"
#include "host/record/catalogue_file.hpp"
#include "tests/fuzz/promise.hpp"
#include <cmath>

extern "C" int LLVMFuzzerTestOneInput(const unsigned char* data, std::size_t size) {
    using namespace yokedock;
    const std::string text(reinterpret_cast<const char*>(data), size);
    const auto read = record::catalogue_from_text(text, "fuzz.json");
    if (!read) {
        test::promise(read.error().kind == ErrorKind::kFile &&
                          read.error().text.find("fuzz.json") != std::string::npos,
                      "an error names the file");
        return 0;
    }
    diagnose::Evidence evidence;
    double value = 0.5;
    for (const diagnose::Feature& feature : read.value().features) {
        evidence.figures.push_back(analysis::measured(feature.name, "", "", value, 0.01, 9, ""));
        evidence.expected[feature.name] = {1, 0.1};
        value = -1.7 * value;
    }
    const diagnose::Diagnosis found = diagnose::diagnose(read.value(), evidence);
    double sum = found.healthy + found.other;
    for (const diagnose::Suspect& suspect : found.suspects) {
        sum += suspect.probability;
    }
    test::promise(std::abs(sum - 1) < 1e-6, "probabilities add up to 1");
    return 0;
}
