// SPDX-License-Identifier: MIT
// The fields of `profile new`: from the key table to options, questions and a profile.
#pragma once
#include "host/cli/seams.hpp"
#include "host/record/profile.hpp"
#include "host/record/profile_keys.hpp"
#include <map>

namespace yokedock::cli {

struct FormField {
    const record::ProfileKey* key;
    std::string path;   ///< in the file: "limits.supply_max_v"
    std::string option; ///< "--supply-max-v"
    bool needed;        ///< without it no profile is made
};

/// In the order they are asked. The list of all keys a person can state with one word: parts,
/// questions and expected figures are written into the file or learned.
[[nodiscard]] const std::vector<FormField>& form_fields();

/// Words as typed, by path. A field left out is absent.
using FormWords = std::map<std::string, std::string>;

/// What is wrong with a word, in the form "<what came>, expected ..."; "" when nothing is.
[[nodiscard]] std::string word_problem(const FormField& field, const std::string& word);

/// Fields without which no profile can be made of the words.
[[nodiscard]] std::vector<const FormField*> missing_fields(const FormWords& words);

/// Reads the words as a profile. Mistakes are those of the profile's reader, keys as in the file.
[[nodiscard]] record::CheckedProfile profile_of(const FormWords& words);

/// Asks for every field that has no word yet, one at a time, and again for those that do not fit
/// together. Blocks for the person. Stopped when the input ends.
[[nodiscard]] Status ask_form(FormWords& words, Seams& seams);

} // namespace yokedock::cli
