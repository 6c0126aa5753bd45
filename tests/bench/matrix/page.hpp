// SPDX-License-Identifier: MIT
// Judges stored cases and puts the result into a page.
#pragma once
#include "host/diagnose/diagnose.hpp"
#include "tests/bench/matrix/store.hpp"

namespace yokedock::matrix {

struct Judged {
    const Case* measured = nullptr;
    diagnose::Diagnosis diagnosis;
    std::string section;    ///< true one; "" on a good board
    int place = 99;         ///< of the true fault among the suspects, from 0
    std::ptrdiff_t off = 0; ///< figures beyond 3 standard deviations, signs missing
};

[[nodiscard]] Judged judge(const diagnose::Catalogue& catalogue, const Stored& stored,
                           const Case& measured);
/// Every figure in its scale, in standard deviations of a good board.
[[nodiscard]] std::string deviations_text(const diagnose::Catalogue& catalogue,
                                          const Stored& stored, const Case& measured);
/// Markdown.
[[nodiscard]] std::string page(const diagnose::Catalogue& catalogue, const Stored& stored,
                               const std::vector<Judged>& judged);

} // namespace yokedock::matrix
