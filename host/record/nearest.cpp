// SPDX-License-Identifier: MIT
#include "host/record/nearest.hpp"
#include <algorithm>

namespace yokedock::record {

std::size_t word_distance(std::string_view a, std::string_view b) {
    std::vector<std::vector<std::size_t>> d(a.size() + 1, std::vector<std::size_t>(b.size() + 1));
    for (std::size_t i = 0; i <= a.size(); ++i) {
        for (std::size_t j = 0; j <= b.size(); ++j) {
            if (i == 0 || j == 0) {
                d[i][j] = i + j;
                continue;
            }
            d[i][j] = std::min({d[i - 1][j] + 1, d[i][j - 1] + 1,
                                d[i - 1][j - 1] + (a[i - 1] == b[j - 1] ? 0u : 1u)});
            if (i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1]) {
                d[i][j] = std::min(d[i][j], d[i - 2][j - 2] + 1);
            }
        }
    }
    return d[a.size()][b.size()];
}

std::string nearest_word(std::string_view misspelt, const std::vector<std::string>& known) {
    constexpr std::size_t kLongest = 60; // a longer one is no slip of the finger
    if (misspelt.size() > kLongest) {
        return {};
    }
    std::size_t best = std::max<std::size_t>(2, misspelt.size() / 3) + 1;
    std::string word;
    for (const std::string& candidate : known) {
        const std::size_t distance = word_distance(misspelt, candidate);
        if (distance < best) {
            best = distance;
            word = candidate;
        }
    }
    if (word.empty() && misspelt.size() >= 3) {
        const auto longer =
            std::find_if(known.begin(), known.end(), [&](const std::string& candidate) {
                return candidate.compare(0, misspelt.size(), misspelt) == 0;
            });
        return longer == known.end() ? std::string() : *longer;
    }
    return word;
}

} // namespace yokedock::record
